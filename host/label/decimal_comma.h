// SPDX-License-Identifier: Apache-2.0
// A decimal comma in a description: protobuf's own complaint about it helps nobody.
#pragma once

#include <string_view>

#include "host/model/text.h"

namespace host::label {

/// Adds a hint to every complaint whose line of `text` holds a comma between two digits.
void hint_at_commas(std::string_view text, model::TextErrors& errors);

}  // namespace host::label
