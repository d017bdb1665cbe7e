// SPDX-License-Identifier: Apache-2.0
// The PC under test's end: a beat each period until stopped. A network that is away for a while ends nothing.
#pragma once

#include <chrono>
#include <cstdint>
#include <expected>
#include <functional>
#include <optional>
#include <stop_token>
#include <string>

namespace host::heartbeat {

struct SenderOptions {
  std::string host;  // name or literal
  std::uint16_t port = 0;
  std::string token;
  std::chrono::milliseconds period{1000};
  std::optional<std::chrono::milliseconds> duration;
  std::stop_token stop;
};

struct Sent {
  std::uint64_t beats = 0;
  std::uint64_t failed = 0;  // the network refused them
};

/// Blocks until the duration has passed or a stop is asked for; `progress` after each beat. Then says farewell, so that
/// the end is not taken for a lock-up. The error (no such host) is a sentence for the user.
std::expected<Sent, std::string> send_beats(const SenderOptions& options,
                                            const std::function<void(const Sent&)>& progress);

}  // namespace host::heartbeat
