// SPDX-License-Identifier: Apache-2.0
// Finds load steps of one current channel: D[n] = mean(i[n+4 .. n+19]) - mean(i[n-16 .. n-1]), a step where |D| is at
// least the trigger's and a local maximum within +-20 scans; a plateau stands for its middle (the lower of two).
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "firmware/core/settings.h"
#include "firmware/hal/scan_source.h"

namespace firmware {

inline constexpr std::uint32_t kStepMeanScans = 16;
inline constexpr std::uint32_t kStepGapScans = 4;  // spans the edge
inline constexpr std::uint32_t kStepReachScans = kStepMeanScans + kStepGapScans;
/// A step at n has been found once scan n + this has been taken.
inline constexpr std::uint32_t kStepDelayScans = kStepReachScans + kStepReachScans;

struct FoundStep {
  std::uint8_t channel = 0;
  std::uint64_t scan = 0;
  std::int32_t step_code_16 = 0;     // after minus before, 1/16 code
  std::uint32_t t50_offset_256 = 0;  // half-way crossing minus (scan - 128), 1/256 scan
};

class StepSink {
 public:
  virtual ~StepSink() = default;
  virtual void found(const FoundStep& step) = 0;
};

class StepDetector {
 public:
  /// Begins with the scan that comes next, at a start and after a gap. Steps within the first 16 and last 40 scans of
  /// such a stretch are not found.
  void begin(const StepTrigger& trigger);
  /// `min` and `max` are the channel's extremes in the block: without a wide enough span no step is looked for.
  void on_block(const ScanBlock& block, std::int16_t min, std::int16_t max, StepSink& sink);

 private:
  static constexpr std::uint32_t kHistory = 128;  // power of two, at least 2 * kStepReachScans + the means' reach

  struct Span {
    std::int16_t min = 0x7FFF;
    std::int16_t max = -0x8000;
  };

  // Indices count the stretch's scans. The histories hold a power of two, so 32 bits of an index are enough to find
  // one.
  std::int16_t& code(std::uint32_t index) { return codes_[index % kHistory]; }
  std::int32_t& difference(std::uint32_t index) { return differences_[index % kHistory]; }
  void remember(const ScanBlock& block);
  bool takes_no_step(std::int16_t min, std::int16_t max);
  void clear_differences(std::uint32_t first);
  void take_differences(std::uint32_t first);
  void look_for_peaks(std::uint64_t stretch_first, StepSink& sink);
  bool is_peak(std::uint64_t index);
  std::uint64_t plateau_middle(std::uint64_t first);
  std::uint32_t half_way_offset_256(std::uint64_t index);

  std::uint8_t channel_ = 0;
  std::int32_t least_code_ = 0;
  std::int32_t least_16_ = 0;
  std::uint64_t count_ = 0;         // scans of this stretch
  std::array<Span, 3> spans_;       // of the latest blocks
  std::uint32_t quiet_blocks_ = 1;  // at the end: their differences are not worked out, 0 stands for them
  std::int32_t before_ = 0;         // sums of 16 codes
  std::int32_t after_ = 0;
  std::array<std::int16_t, kHistory> codes_{};
  std::array<std::int32_t, kHistory> differences_{};  // 1/16 code
};

}  // namespace firmware
