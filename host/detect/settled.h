// SPDX-License-Identifier: Apache-2.0
// Windows in which a rail's load stood still, and 10 ms means of its voltages pooled from them.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "host/detect/block.h"

namespace host::detect {

/// The rail's load moved by no more than 0.5 A and noise within the window and for 4 ms before it (own choice: ten time
/// constants of the usual recovery). A rail without current channels always counts as settled.
class SettledFinder {
 public:
  explicit SettledFinder(const model::Jig& jig);
  /// One mask a rail, one bit a window.
  const std::array<std::uint32_t, judge::kRailCount>& find(const Block& block);
  using Loads = std::array<double, wire::kWindowsPerBlock>;
  /// Mean current of all the rail's channels in each window, A.
  Loads loads(steadyrail::proto::Rail rail, const Block& block) const;

 private:
  struct Current {
    std::size_t index;
    double per_code;
    double at_code_0;
    std::int32_t range_codes;
    std::int32_t jump_8;
    std::int32_t mean_8 = 0;  // of the window before
  };
  struct RailState {
    std::vector<Current> currents;
    std::uint32_t quiet_scans = 0;
  };
  /// Windows in which the rail's load moved; takes note of the last one's means.
  static std::uint32_t moved(const Block& block, RailState& state);
  std::uint32_t settled(const Block& block, std::uint32_t moved, RailState& state) const;

  std::uint32_t guard_scans_;
  std::array<RailState, judge::kRailCount> rails_;
  std::array<std::uint32_t, judge::kRailCount> masks_{};
};

/// Means of 10 ms of settled windows at one level of a rail's load, not always in a row: a game seldom stands still
/// that long. The voltage channels of a rail settle together, so they fill one pool.
class SettledPools {
 public:
  /// `channels`: indices of the rail's voltage channels.
  SettledPools(double scan_rate_hz, std::vector<std::size_t> channels);
  struct Means {
    std::vector<double> codes;  // in the order of the channels
    judge::Load within = judge::Load::kUnknown;
  };
  static std::size_t level(double load_a);
  /// Adds the settled windows from `window` up to `end`, all of one level and rating, no further than to the one that
  /// completes 10 ms; `window` is then the next. The means when it did, else nullptr; valid until the next call.
  const Means* add(std::size_t level, judge::Load within, const Block& block, std::uint32_t& window, std::uint32_t end);
  double scans_of_mean() const { return full_scans_; }
  const std::vector<std::size_t>& channels() const { return channels_; }

 private:
  static constexpr std::size_t kLevels = 64;
  struct Pool {
    std::uint32_t scans = 0;
    std::uint64_t last = 0;
    judge::Load within = judge::Load::kWithin;
  };
  std::vector<std::size_t> channels_;
  std::uint32_t full_scans_;
  std::uint64_t stale_scans_;
  std::array<Pool, kLevels> pools_{};
  std::vector<std::int64_t> sums_8_;  // of each level's channels, weighted by scans
  Means means_;
};

}  // namespace host::detect
