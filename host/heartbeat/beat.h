// SPDX-License-Identifier: Apache-2.0
// One heartbeat datagram (proto/heartbeat.md).
#pragma once

#include <chrono>
#include <cstdint>
#include <expected>
#include <string>
#include <string_view>

namespace host::heartbeat {

inline constexpr std::size_t kDatagramBytesMax = 200;
inline constexpr std::chrono::milliseconds kPeriodLeast{100};
inline constexpr std::chrono::milliseconds kPeriodMost{60'000};

struct Beat {
  std::string token;            // both sides know it
  std::string run;              // of this start of the sender
  std::uint64_t number = 0;     // from 1
  std::uint64_t sender_ms = 0;  // the sender's own count; tells nothing about when
  std::chrono::milliseconds period{};
  bool farewell = false;  // the sender was ended in order: no silence follows
};

enum class BeatFault : std::uint8_t {
  kMalformed,
  kForeign,  // well formed, another token
};

/// 4 to 32 letters, digits and hyphens.
bool is_token(std::string_view word);

std::string to_text(const Beat& beat);
std::expected<Beat, BeatFault> parse_beat(std::string_view datagram, std::string_view token);

/// A word for a token or a run that nobody else has: 12 letters and digits.
std::string random_word();

}  // namespace host::heartbeat
