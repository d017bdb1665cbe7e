// SPDX-License-Identifier: Apache-2.0
// Dates as a label gives them.
#pragma once

#include <string_view>

namespace host::label {

/// True for an ISO 8601 year, month, day or week that exists, from 1981 to 2199: 2024, 2024-05, 2024-05-17, 2024-W20.
bool is_date(std::string_view text);

}  // namespace host::label
