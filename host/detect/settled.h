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
  /// Mean current of all the rail's channels in the window, A. Valid after find().
  double load(steadyrail::proto::Rail rail, const Block& block, std::uint32_t window) const;

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
  std::uint32_t guard_scans_;
  std::array<RailState, judge::kRailCount> rails_;
  std::array<std::uint32_t, judge::kRailCount> masks_{};
};

/// Means of 10 ms of settled windows at one level of load, not always in a row: a game seldom stands still that long.
class SettledPools {
 public:
  explicit SettledPools(double scan_rate_hz);
  struct Mean {
    double code = 0;
    std::uint64_t at = 0;  // scan of the window that completed it
    judge::Load within = judge::Load::kUnknown;
  };
  /// Adds a settled window; returns true and fills `mean` when 10 ms are together.
  bool add(double load_a, std::uint64_t start, std::uint32_t scans, std::int32_t mean_8, judge::Load within,
           Mean& mean);
  double scans_of_mean() const { return full_scans_; }

 private:
  static constexpr std::size_t kLevels = 64;
  struct Pool {
    std::int64_t sum_8 = 0;  // weighted by scans
    std::uint32_t scans = 0;
    std::uint64_t last = 0;
    judge::Load within = judge::Load::kWithin;
  };
  std::uint32_t full_scans_;
  std::uint64_t stale_scans_;
  std::array<Pool, kLevels> pools_{};
};

}  // namespace host::detect
