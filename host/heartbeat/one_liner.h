// SPDX-License-Identifier: Apache-2.0
// Senders of one line, for a PC under test on which this program is not.
#pragma once

#include <chrono>
#include <cstdint>
#include <expected>
#include <string>
#include <string_view>

namespace host::heartbeat {

/// `shell`: powershell, sh, python. `host` must be a name or literal of letters, digits, dots, colons and hyphens:
/// nothing a shell would read otherwise. The error is a sentence for the user.
std::expected<std::string, std::string> one_liner(std::string_view shell, std::string_view host, std::uint16_t port,
                                                  std::string_view token, std::chrono::milliseconds period);

}  // namespace host::heartbeat
