// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/step_detector.h"

#include <algorithm>
#include <cstdlib>

namespace firmware {
namespace {

// From the latest scan back to the n whose mean after it completes.
constexpr std::uint32_t kAfterEnd = kStepGapScans + kStepMeanScans - 1;
// From the latest scan back to the n that can be told a peak from its neighbours.
constexpr std::uint32_t kCandidateBack = kAfterEnd + kStepReachScans;
// A difference takes in codes of at most three blocks.
static_assert(kAfterEnd + kStepMeanScans <= 2 * wire::kScansPerBlock);

}  // namespace

void StepDetector::begin(const StepTrigger& trigger) {
  *this = StepDetector{};
  channel_ = trigger.channel;
  least_code_ = trigger.least_code;
  least_16_ = least_code_ * 16;
}

void StepDetector::on_block(const ScanBlock& block, std::int16_t min, std::int16_t max, StepSink& sink) {
  remember(block);
  const auto first = static_cast<std::uint32_t>(count_);
  const bool quiet = takes_no_step(min, max);
  if (quiet && quiet_blocks_ <= kHistory / wire::kScansPerBlock) {  // after more all of them are 0 already
    clear_differences(first);
  } else if (!quiet) {
    take_differences(first);
  }
  // Candidates lie in this block's differences and the last one's.
  if (!quiet || quiet_blocks_ == 0) look_for_peaks(block.first_scan - count_, sink);
  quiet_blocks_ = !quiet ? 0 : std::min(quiet_blocks_ + 1, kHistory);
  count_ += wire::kScansPerBlock;
}

void StepDetector::remember(const ScanBlock& block) {
  std::int16_t* to = &code(static_cast<std::uint32_t>(count_));  // blocks never wrap
  const std::size_t channel = channel_;
#pragma GCC unroll 8
  for (std::size_t s = 0; s < wire::kScansPerBlock; ++s) to[s] = block.codes[s][channel];
}

// Means of codes lie within their extremes: no difference can be more than the span.
bool StepDetector::takes_no_step(std::int16_t min, std::int16_t max) {
  spans_ = {spans_[1], spans_[2], Span{min, max}};
  const auto low = std::min({spans_[0].min, spans_[1].min, min});
  const auto high = std::max({spans_[0].max, spans_[1].max, max});
  return high - low < least_code_;
}

void StepDetector::clear_differences(std::uint32_t first) {
  const std::uint32_t begin = (first - kAfterEnd) % kHistory;
  const std::uint32_t before_wrap = std::min(wire::kScansPerBlock, kHistory - begin);
  std::fill_n(differences_.begin() + begin, before_wrap, 0);
  std::fill_n(differences_.begin(), wire::kScansPerBlock - before_wrap, 0);
}

// Entries older than the stretch are 0; the differences they enter are not looked at.
void StepDetector::take_differences(std::uint32_t first) {
  if (quiet_blocks_ != 0) {
    before_ = 0;
    after_ = 0;
    for (std::uint32_t k = 1; k <= kStepMeanScans; ++k) {
      after_ += code(first - k);
      before_ += code(first - kStepReachScans - k);
    }
  }
  std::int32_t after = after_;
  std::int32_t before = before_;
  for (std::uint32_t now = first; now != first + wire::kScansPerBlock; ++now) {
    after += code(now) - code(now - kStepMeanScans);
    before += code(now - kStepReachScans) - code(now - kStepReachScans - kStepMeanScans);
    difference(now - kAfterEnd) = after - before;
  }
  after_ = after;
  before_ = before;
}

void StepDetector::look_for_peaks(std::uint64_t stretch_first, StepSink& sink) {
  for (std::uint32_t s = 0; s < wire::kScansPerBlock; ++s) {
    const std::uint64_t candidate = count_ + s - kCandidateBack;
    if (std::abs(difference(static_cast<std::uint32_t>(candidate))) < least_16_) continue;
    if (count_ + s < kCandidateBack + kStepMeanScans || !is_peak(candidate)) continue;
    const std::uint64_t middle = plateau_middle(candidate);
    sink.found({.channel = channel_,
                .scan = stretch_first + middle,
                .step_code_16 = difference(static_cast<std::uint32_t>(middle)),
                .t50_offset_256 = half_way_offset_256(middle)});
  }
}

// Neighbours nearest first: next to a slope the first one decides.
bool StepDetector::is_peak(std::uint64_t index) {
  const auto at = static_cast<std::uint32_t>(index);
  const std::int32_t height = std::abs(difference(at));
  for (std::uint32_t k = 1; k <= kStepReachScans; ++k) {
    if (std::abs(difference(at + k)) > height) return false;
  }
  const auto back = static_cast<std::uint32_t>(std::min<std::uint64_t>(index - kStepMeanScans, kStepReachScans));
  for (std::uint32_t k = 1; k <= back; ++k) {
    if (std::abs(difference(at - k)) >= height) return false;
  }
  return true;
}

std::uint64_t StepDetector::plateau_middle(std::uint64_t first) {
  std::uint64_t last = first;
  const auto level = difference(static_cast<std::uint32_t>(first));
  while (last < first + kStepReachScans && difference(static_cast<std::uint32_t>(last + 1)) == level) ++last;
  return first + (last - first) / 2;
}

std::uint32_t StepDetector::half_way_offset_256(std::uint64_t index) {
  const auto at = static_cast<std::uint32_t>(index);
  std::int32_t half_way_32 = 0;  // sum of both means, in 1/32 code
  for (std::uint32_t k = 0; k < kStepMeanScans; ++k) {
    half_way_32 += code(at - 1 - k) + code(at + kStepGapScans + k);
  }
  // Noise may cross it more than once: the crossing nearest to the middle of the gap is the edge's.
  constexpr std::int64_t kBack256 = 128 * 256;
  constexpr std::int64_t kGapMiddle256 = kBack256 + kStepGapScans * 256 / 2;
  constexpr std::int32_t kFirst = -static_cast<std::int32_t>(kStepMeanScans);
  std::int64_t best = kGapMiddle256 + (std::int64_t{1} << 32);
  for (std::int32_t k = kFirst; k < static_cast<std::int32_t>(kAfterEnd); ++k) {
    const std::int32_t from_32 = code(at + static_cast<std::uint32_t>(k)) * 32 - half_way_32;
    const std::int32_t to_32 = code(at + static_cast<std::uint32_t>(k) + 1) * 32 - half_way_32;
    if ((from_32 < 0) == (to_32 < 0)) continue;
    const std::int64_t into_256 = std::int64_t{from_32} * 256 / (from_32 - to_32);
    const std::int64_t offset = kBack256 + std::int64_t{k} * 256 + into_256;
    if (std::abs(offset - kGapMiddle256) < std::abs(best - kGapMiddle256)) best = offset;
  }
  return static_cast<std::uint32_t>(best);
}

}  // namespace firmware
