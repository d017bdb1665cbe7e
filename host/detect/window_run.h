// SPDX-License-Identifier: Apache-2.0
// Excursions as windows show them: extremes exact, duration to one window.
#pragma once

#include <cstdint>
#include <vector>

#include "host/detect/block.h"
#include "host/detect/capture_store.h"
#include "host/detect/excursion.h"
#include "jig.pb.h"

namespace host::detect {

/// Consecutive windows that touched the limit, [start, end) in scans.
struct WindowRun {
  std::uint8_t channel = 0;
  judge::Side side = judge::Side::kLow;
  std::uint64_t start = 0;
  std::uint64_t end = 0;
  std::uint32_t window_scans = 0;
  std::uint32_t windows = 0;
  std::uint32_t touched = 0;  // windows with a scan beyond
  std::int32_t extreme = 0;
  std::uint64_t extreme_window = 0;  // its first scan
  std::uint64_t beyond = 0;          // scans beyond the armed limit, as counted on the chip
  std::uint32_t armed_set = 0;
  bool mean_beyond = false;  // some window's mean lay beyond: at least half of it did
  bool truncated = false;
  bool into_off = false;  // ended where the limits ceased to hold: the supply went off
};

/// Follows one channel and side while the limits of its rail hold. Quiet windows cost one comparison a block.
class WindowRunTracker {
 public:
  WindowRunTracker(std::uint8_t channel, steadyrail::proto::Rail rail, const ExcursionRule& rule)
      : channel_(channel), rail_(rail), rule_(rule) {}

  void add(const Block& block, std::vector<WindowRun>& ended);
  /// A hole or the end: what is open ends there, truncated.
  void cut(std::vector<WindowRun>& ended);
  const ExcursionRule& rule() const { return rule_; }
  std::uint8_t channel() const { return channel_; }
  /// Whether any scan lies beyond the limit.
  bool touches(const Block& block) const { return touches(block.low[channel_], block.high[channel_]); }
  bool touches(const Capture& capture) const { return touches(capture.low[channel_], capture.high[channel_]); }

 private:
  bool touches(std::int16_t low, std::int16_t high) const {
    return rule_.side == judge::Side::kLow ? low < rule_.limit : high > rule_.limit;
  }
  void step(const Block& block, std::uint32_t window, std::vector<WindowRun>& ended);

  std::uint8_t channel_;
  steadyrail::proto::Rail rail_;
  ExcursionRule rule_;
  bool open_ = false;
  WindowRun run_;
};

}  // namespace host::detect
