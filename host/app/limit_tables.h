// SPDX-License-Identifier: Apache-2.0
// An edition's limits as tables for the reader of a terminal, each row with its status and table.
#pragma once

#include <string>

#include "limits.pb.h"

namespace host::app {

/// Every table the edition has besides regulation; a quantity it has none of is named as such, not left out.
std::string limit_tables(const steadyrail::proto::LimitSet& set);

}  // namespace host::app
