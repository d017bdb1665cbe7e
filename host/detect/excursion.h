// SPDX-License-Identifier: Apache-2.0
// Out-of-tolerance excursions, scan by scan: the definition itself, used on captures. The chip runs the same rules.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "host/judge/decision.h"

namespace host::detect {

/// All levels in one integer unit of the caller's choice (codes or microvolts).
struct ExcursionRule {
  judge::Side side = judge::Side::kLow;
  std::int32_t limit = 0;            // strictly beyond it begins an excursion
  std::int32_t release = 0;          // reaching it again, inwards of the limit, ends it
  std::optional<std::int32_t> keep;  // an excursion reaching this, outwards of the limit, is kept however short
  std::uint32_t merge_scans = 16;    // excursions no further apart than this are one: merged before any is dropped
  std::uint32_t least_scans = 4;     // shorter ones are only counted
};

/// [start, end) in scans.
struct ScanExcursion {
  std::uint64_t start = 0;
  std::uint64_t end = 0;
  std::int32_t extreme = 0;
  std::uint64_t at = 0;      // first of equal extremes
  std::uint64_t area = 0;    // sum over scans of the distance beyond the limit
  std::uint32_t beyond = 0;  // scans beyond the limit
  bool truncated = false;    // ended by a hole or the end of the samples, not by recovery
};

class ExcursionTracker {
 public:
  explicit ExcursionTracker(const ExcursionRule& rule);

  /// Feeds consecutive levels from scan `first` on. A jump in `first` is a hole: whatever is open ends there,
  /// truncated.
  void feed(std::uint64_t first, std::span<const std::int32_t> levels);
  /// Ends what is open, truncated, and drops or keeps what waits for a merge.
  void cut();
  /// Excursions kept since the last call, in order.
  std::vector<ScanExcursion> take();
  /// Excursions too short and too shallow to keep.
  std::uint64_t dropped() const { return dropped_; }

 private:
  void push(std::uint64_t scan, std::int32_t level);
  void close(std::uint64_t end, bool truncated);
  void settle();

  ExcursionRule rule_;  // mirrored to the low side
  std::int32_t sign_;
  std::uint64_t next_ = 0;
  std::optional<ScanExcursion> open_;
  std::optional<ScanExcursion> waiting_;
  std::vector<ScanExcursion> kept_;
  std::uint64_t dropped_ = 0;
};

/// The whole of `levels` at once, scan indices from 0.
std::vector<ScanExcursion> track_excursions(std::span<const std::int32_t> levels, const ExcursionRule& rule);

}  // namespace host::detect
