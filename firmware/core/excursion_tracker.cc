// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/excursion_tracker.h"

namespace firmware {

void ExcursionTracker::arm(std::size_t index, const ArmedLimit& limit) {
  *this = ExcursionTracker{};
  index_ = index;
  channel_ = limit.channel;
  low_ = limit.side == LimitSide::kLow;
  limit_ = depth_of(limit.code);
  release_ = depth_of(limit.release_code);
  keep_ = low_ ? -limit.keep_code : limit.keep_code;
  merge_scans_ = limit.merge_scans;
  least_scans_ = limit.least_scans;
}

void ExcursionTracker::on_block(const ScanBlock& block, std::int16_t min, std::int16_t max, ExcursionSink& sink) {
  const std::int32_t deepest = depth_of(low_ ? min : max);
  if (state_ == State::kIdle && deepest <= limit_) return;
  for (std::uint32_t s = 0; s < wire::kScansPerBlock; ++s) {
    take(block.first_scan + s, depth_of(block.codes[s][channel_]), sink);
  }
}

void ExcursionTracker::take(std::uint64_t scan, std::int32_t depth, ExcursionSink& sink) {
  if (state_ == State::kWaiting && scan - open_.end_scan > merge_scans_) finish(sink);
  if (depth > limit_) {
    if (state_ == State::kIdle) begin(scan);
    state_ = State::kInside;
    deepen(scan, depth);
  } else if (state_ == State::kInside && depth <= release_) {
    open_.end_scan = scan;
    state_ = State::kWaiting;
  }
  if (state_ == State::kInside && !certain_ && (scan + 1 - open_.start_scan >= least_scans_ || extreme_ >= keep_)) {
    certain_ = true;
    sink.certain(index_, open_.start_scan);
  }
}

void ExcursionTracker::begin(std::uint64_t scan) {
  open_ = TrackedExcursion{};
  open_.start_scan = scan;
  extreme_ = limit_;
  certain_ = false;
}

void ExcursionTracker::deepen(std::uint64_t scan, std::int32_t depth) {
  if (depth > extreme_) {
    extreme_ = depth;
    open_.extreme_scan = scan;
  }
  open_.area_code_scans += static_cast<std::uint32_t>(depth - limit_);
  ++open_.scans_beyond;
}

void ExcursionTracker::finish(ExcursionSink& sink) {
  state_ = State::kIdle;
  open_.extreme_code = static_cast<std::int16_t>(low_ ? -extreme_ : extreme_);
  const bool kept = open_.end_scan - open_.start_scan >= least_scans_ || extreme_ >= keep_;
  // How long a truncated one would have become is not known: it is not dropped for being short.
  if (kept || open_.truncated) sink.ended(index_, open_);
}

void ExcursionTracker::close(std::uint64_t scan, ExcursionSink& sink) {
  if (state_ == State::kIdle) return;
  if (state_ == State::kInside) {
    open_.end_scan = scan;
    open_.truncated = true;
  }
  finish(sink);
}

}  // namespace firmware
