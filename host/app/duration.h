// SPDX-License-Identifier: Apache-2.0
// Spans of time as people write them on a command line.
#pragma once

#include <chrono>
#include <expected>
#include <string>
#include <string_view>

namespace host::app {

/// "500ms", "90s", "5m", "1.5h": a number above 0 and one unit, at most 30 days. The error is a sentence for the user.
std::expected<std::chrono::milliseconds, std::string> parse_duration(std::string_view text);

}  // namespace host::app
