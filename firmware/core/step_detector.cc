// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/step_detector.h"

#include <algorithm>
#include <cstdlib>

namespace firmware {
namespace {

// From the latest scan back to the n whose mean after it completes.
constexpr std::uint64_t kAfterEnd = kStepGapScans + kStepMeanScans - 1;

}  // namespace

void StepDetector::begin(const StepTrigger& trigger) {
  *this = StepDetector{};
  channel_ = trigger.channel;
  least_16_ = std::int32_t{trigger.least_code} * 16;
}

void StepDetector::on_block(const ScanBlock& block, StepSink& sink) {
  const std::uint64_t stretch_first = block.first_scan - count_;
  for (std::uint32_t s = 0; s < wire::kScansPerBlock; ++s) {
    const std::uint64_t now = count_++;
    const std::int16_t latest = block.codes[s][channel_];
    // Entries older than the stretch are still 0, as are the sums they would leave.
    after_ += latest - code(now - kStepMeanScans);
    before_ += code(now - kStepReachScans) - code(now - kStepReachScans - kStepMeanScans);
    code(now) = latest;
    if (now < kStepMeanScans + kAfterEnd) continue;
    difference(now - kAfterEnd) = after_ - before_;
    if (now < kStepMeanScans + kAfterEnd + kStepReachScans) continue;
    const std::uint64_t candidate = now - kAfterEnd - kStepReachScans;
    if (!is_peak(candidate)) continue;
    const std::uint64_t middle = plateau_middle(candidate);
    sink.found({.channel = channel_,
                .scan = stretch_first + middle,
                .step_code_16 = difference(middle),
                .t50_offset_256 = half_way_offset_256(middle)});
  }
}

bool StepDetector::is_peak(std::uint64_t index) {
  const std::int32_t height = std::abs(difference(index));
  if (height < least_16_) return false;
  for (std::uint64_t k = index + 1; k <= index + kStepReachScans; ++k) {
    if (std::abs(difference(k)) > height) return false;
  }
  const std::uint64_t first =
      std::max<std::uint64_t>(index - std::min<std::uint64_t>(index, kStepReachScans), kStepMeanScans);
  for (std::uint64_t k = first; k < index; ++k) {
    if (std::abs(difference(k)) >= height) return false;
  }
  return true;
}

std::uint64_t StepDetector::plateau_middle(std::uint64_t first) {
  std::uint64_t last = first;
  while (last < first + kStepReachScans && difference(last + 1) == difference(first)) ++last;
  return first + (last - first) / 2;
}

std::uint32_t StepDetector::half_way_offset_256(std::uint64_t index) {
  std::int32_t half_way_32 = 0;  // sum of both means, in 1/32 code
  for (std::uint32_t k = 0; k < kStepMeanScans; ++k) {
    half_way_32 += code(index - 1 - k) + code(index + kStepGapScans + k);
  }
  // Noise may cross it more than once: the crossing nearest to the middle of the gap is the edge's.
  constexpr std::int64_t kBack256 = 128 * 256;
  constexpr std::int64_t kGapMiddle256 = kBack256 + kStepGapScans * 256 / 2;
  std::int64_t best = kGapMiddle256 + (std::int64_t{1} << 32);
  for (std::uint64_t k = index - kStepMeanScans; k < index + kAfterEnd; ++k) {
    const std::int32_t from_32 = code(k) * 32 - half_way_32;
    const std::int32_t to_32 = code(k + 1) * 32 - half_way_32;
    if ((from_32 < 0) == (to_32 < 0)) continue;
    const std::int64_t into_256 = std::int64_t{from_32} * 256 / (from_32 - to_32);
    const std::int64_t offset =
        kBack256 + (static_cast<std::int64_t>(k) - static_cast<std::int64_t>(index)) * 256 + into_256;
    if (std::abs(offset - kGapMiddle256) < std::abs(best - kGapMiddle256)) best = offset;
  }
  return static_cast<std::uint32_t>(best);
}

}  // namespace firmware
