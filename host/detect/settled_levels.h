// SPDX-License-Identifier: Apache-2.0
// Settled means of all channels, one for each level a rail's load stood at: what resistances are fitted to.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <optional>
#include <vector>

#include "host/detect/block.h"
#include "host/model/jig.h"
#include "link.pb.h"

namespace host::detect {

/// Means over a millisecond, V and A, by channel index. Masks have one bit a rail.
struct SettledPoint {
  std::array<float, wire::kChannelCount> values{};
  std::uint8_t settled = 0;  // the rail's load had stood still for 4 ms
  std::uint8_t fresh = 0;    // and at a level that no point before this one tells
  bool has(std::uint8_t rail_mask) const { return (settled & rail_mask) == rail_mask && (fresh & rail_mask) != 0; }
};

constexpr std::uint8_t rail_bit(steadyrail::proto::Rail rail) {
  return static_cast<std::uint8_t>(1U << static_cast<unsigned>(rail));
}

/// A bounded, seeded sample of the points of one source; a long session is thinned evenly.
class PointStore {
 public:
  static constexpr std::size_t kMost = 1000;
  void add(const SettledPoint& point);
  const std::vector<SettledPoint>& points() const { return points_; }

 private:
  std::vector<SettledPoint> points_;
  std::uint64_t seen_ = 0;
  std::uint64_t state_ = 1;
};

class SettledLevels {
 public:
  explicit SettledLevels(const model::Jig& jig);

  /// The chip's word: a step, and the settled means round it. The mean before a step is the one that stood longest.
  void step(const steadyrail::proto::LoadStep& event);
  void settled(const steadyrail::proto::SettledMeans& event);
  /// The first settled window of each level.
  void add(const Block& block);
  void gap() { was_settled_ = 0; }
  /// The jig restarted: scan indices of its events go on above, but nothing is known of what came between.
  void restarted();

  const PointStore& chip() const { return chip_; }
  const PointStore& window() const { return window_; }

 private:
  struct RailSteps {
    std::deque<std::uint64_t> recent;   // scans
    std::optional<std::uint64_t> told;  // step after which a point has been taken
    bool any = false;                   // a point has been taken at all
  };
  bool on(const SettledPoint& point) const;

  const model::Jig& jig_;
  const model::JigChannel* pwr_ok_;
  std::uint64_t guard_scans_;
  std::uint8_t rails_ = 0;  // that have current channels
  std::array<RailSteps, judge::kRailCount> steps_;
  std::uint32_t was_settled_ = 0;  // rails, in the window before
  PointStore chip_;
  PointStore window_;
};

}  // namespace host::detect
