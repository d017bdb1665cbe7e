// SPDX-License-Identifier: Apache-2.0
// One batch of windows with what every detector wants to know about it, computed once.
#pragma once

#include <array>
#include <cstdint>

#include "host/decode/sink.h"
#include "host/judge/rating.h"

namespace host::detect {

/// A scan index from here on (2^60: a million years) is no index, and sums over it could wrap.
inline constexpr std::uint64_t kScanMost = std::uint64_t{1} << 60;

/// Up to 32 windows. Masks have one bit a window, bit 0 the first.
struct Block {
  const wire::DecodedWindows* windows = nullptr;
  std::uint64_t first = 0;
  std::uint32_t scans = 0;  // of one window
  std::uint32_t count = 0;  // of windows
  std::uint32_t armed_set = 0;
  bool follows = false;       // directly after the block before: nothing was lost between
  std::uint32_t on = 0;       // the supply was on: PWR_OK high, PS_ON# not high, through the whole window
  std::uint32_t standby = 0;  // +5 V standby was due: the supply was on, or the mains was there (standby_presence.h)
  std::array<std::int16_t, wire::kChannelCount> low{};    // least min of the block
  std::array<std::int16_t, wire::kChannelCount> high{};   // greatest max
  std::array<std::int64_t, wire::kChannelCount> sum_8{};  // of mean_8
  judge::BlockLoads loads;
  judge::BlockRating rating{};
  std::array<std::uint32_t, judge::kRailCount> settled{};  // the rail's load stood still in the window and before it

  std::uint64_t end() const { return first + std::uint64_t{scans} * count; }
  std::uint64_t start_of(std::uint32_t window) const { return first + std::uint64_t{scans} * window; }
  /// Windows in which the limits of `rail` hold.
  std::uint32_t due(steadyrail::proto::Rail rail) const { return rail == steadyrail::proto::RAIL_P5VSB ? standby : on; }
  std::uint32_t all() const { return count >= 32 ? 0xFFFFFFFFU : (1U << count) - 1; }
};

}  // namespace host::detect
