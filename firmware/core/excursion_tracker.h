// SPDX-License-Identifier: Apache-2.0
// Tracks excursions beyond one armed limit to the scan, across blocks. Low and high sides are one machine with the sign
// turned. At most one excursion is open or waits for its merge gap, so the state is bounded whatever the signal does.
//
//   idle --beyond--> inside --back at release--> waiting --gap longer than merge_scans--> idle (kept or dropped)
//                      ^--------- beyond again within merge_scans ----'
#pragma once

#include <cstddef>
#include <cstdint>

#include "firmware/core/scan_sums.h"
#include "firmware/core/settings.h"
#include "firmware/hal/scan_source.h"

namespace firmware {

/// [start_scan, end_scan).
struct TrackedExcursion {
  std::uint64_t start_scan = 0;
  std::uint64_t end_scan = 0;
  std::int16_t extreme_code = 0;
  std::uint64_t extreme_scan = 0;     // first of equal extremes
  std::uint64_t area_code_scans = 0;  // sum of the distances beyond the limit
  std::uint64_t scans_beyond = 0;
  bool truncated = false;
};

/// Excursions of one block that were kept, and would each have been certain() and ended().
struct CountedExcursions {
  std::uint32_t excursions = 0;
  std::uint64_t first_scan = 0;  // the first one's start
  std::uint64_t last_start_scan = 0;
  std::uint64_t last_scan = 0;  // of the last one
  std::int16_t extreme_code = 0;
  std::uint64_t scans_beyond = 0;
};

enum class Attention : std::uint8_t {
  kEach,         // certain() and ended() for each
  kCounts,       // ended() only counts: counted() may stand for it
  kCountsAlike,  // and certain() has the same answer for all of them
};

class ExcursionSink {
 public:
  virtual ~ExcursionSink() = default;
  /// What ended() would do for the rest of this block.
  virtual Attention attention(const ScanBlock& /*block*/) const { return Attention::kEach; }
  /// Stands for ended() of each, and where `alike` for certain() as well.
  virtual void counted(std::size_t /*index*/, const CountedExcursions& /*counted*/, bool /*alike*/) {}
  /// The excursion beyond limit number `index` that began at `start_scan` has become long or deep enough to be kept.
  virtual void certain(std::size_t index, std::uint64_t start_scan) = 0;
  virtual void ended(std::size_t index, const TrackedExcursion& excursion) = 0;
};

class ExcursionTracker {
 public:
  void arm(std::size_t index, const ArmedLimit& limit);

  /// `sums` are the channel's over the block: scans are only walked where they do not tell everything.
  void on_block(const ScanBlock& block, const ChannelSums& sums, ExcursionSink& sink);

  /// A gap or the end before `scan`: what is open is truncated there.
  void close(std::uint64_t scan, ExcursionSink& sink);

 private:
  enum class State : std::uint8_t { kIdle, kInside, kWaiting };

  bool pass_whole(const ChannelSums& sums, std::int32_t shallowest, std::int32_t deepest);
  void walk(const ScanBlock& block, ExcursionSink& sink);
  std::uint32_t count_through(const ScanBlock& block, std::uint32_t s, bool alike, ExcursionSink& sink);
  std::uint32_t walk_inside(const ScanBlock& block, std::uint32_t s, ExcursionSink& sink);
  void begin(std::uint64_t scan);
  void finish(ExcursionSink& sink);
  std::int32_t depth_of(std::int32_t code) const { return code * sign_; }

  std::size_t index_ = 0;
  std::uint8_t channel_ = 0;
  std::int32_t sign_ = -1;  // of depths: -1 on the low side
  // Depths: codes with the sign turned on the low side, so that deeper is always greater.
  std::int32_t limit_ = 0;
  std::int32_t release_ = 0;
  std::int32_t keep_ = 0;
  std::uint32_t merge_scans_ = 0;
  std::uint32_t least_scans_ = 0;

  State state_ = State::kIdle;
  bool certain_ = false;
  std::int32_t extreme_ = 0;
  TrackedExcursion open_{};
};

}  // namespace firmware
