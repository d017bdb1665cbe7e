// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/excursion_tracker.h"

#include <algorithm>

namespace firmware {

void ExcursionTracker::arm(std::size_t index, const ArmedLimit& limit) {
  *this = ExcursionTracker{};
  index_ = index;
  channel_ = limit.channel;
  sign_ = limit.side == LimitSide::kLow ? -1 : 1;
  limit_ = depth_of(limit.code);
  release_ = depth_of(limit.release_code);
  keep_ = depth_of(limit.keep_code);
  merge_scans_ = limit.merge_scans;
  least_scans_ = limit.least_scans;
}

void ExcursionTracker::on_block(const ScanBlock& block, const ChannelSums& sums, ExcursionSink& sink) {
  const std::int32_t deepest = depth_of(sign_ < 0 ? sums.min : sums.max);
  if (state_ == State::kIdle && deepest <= limit_) return;
  if (state_ == State::kInside && certain_ && pass_whole(sums, depth_of(sign_ < 0 ? sums.max : sums.min), deepest))
    return;
  walk(block, sink);
}

// A block wholly beyond the limit and nowhere deeper than before, as of a supply that is off: no scan needs looking at.
bool ExcursionTracker::pass_whole(const ChannelSums& sums, std::int32_t shallowest, std::int32_t deepest) {
  if (shallowest <= limit_ || deepest > extreme_) return false;
  constexpr auto kScans = static_cast<std::int32_t>(wire::kScansPerBlock);
  open_.area_code_scans += static_cast<std::uint32_t>(depth_of(sums.sum) - kScans * limit_);
  open_.scans_beyond += wire::kScansPerBlock;
  return true;
}

// Returns the scan after the one that released, or the block's end.
inline std::uint32_t ExcursionTracker::walk_inside(const ScanBlock& block, std::uint32_t s, ExcursionSink& sink) {
  const std::int32_t limit = limit_;
  const std::int32_t sign = sign_;
  const std::int16_t* code = &block.codes[s][channel_];
  std::int32_t extreme = extreme_;
  std::uint32_t area = 0;  // a block's worth cannot overflow
  std::uint32_t beyond = 0;
  for (; s < wire::kScansPerBlock; ++s, code += wire::kChannelCount) {
    const std::int32_t depth = *code * sign;
    if (depth > limit) {
      area += static_cast<std::uint32_t>(depth - limit);
      ++beyond;
      if (depth > extreme) {
        extreme = depth;
        open_.extreme_scan = block.first_scan + s;
      }
    } else if (depth <= release_) {
      open_.end_scan = block.first_scan + s;
      state_ = State::kWaiting;
      ++s;
      break;
    }
    if (!certain_ && (extreme >= keep_ || block.first_scan + s + 1 - open_.start_scan >= least_scans_)) {
      certain_ = true;
      sink.certain(index_, open_.start_scan);
    }
  }
  extreme_ = extreme;
  open_.area_code_scans += area;
  open_.scans_beyond += beyond;
  return s;
}

// From scan `s`, which is beyond the limit: excursions that are over within the block, as walk() would find them.
// Returns the start of one that is not over, or the block's end.
std::uint32_t ExcursionTracker::count_through(const ScanBlock& block, std::uint32_t s, bool alike,
                                              ExcursionSink& sink) {
  constexpr std::uint32_t kEnd = wire::kScansPerBlock;
  const std::int32_t limit = limit_;
  const std::int32_t sign = sign_;
  const std::int16_t* codes = &block.codes[0][channel_];
  const auto depth_at = [=](std::uint32_t at) { return codes[at * wire::kChannelCount] * sign; };
  const std::int32_t release = release_;
  const std::uint32_t merge_scans = std::min(merge_scans_, kEnd);  // a longer gap never ends here
  CountedExcursions counted;
  std::uint32_t last_start = 0;
  std::uint32_t last_end = 0;
  std::uint32_t all_beyond = 0;
  std::int32_t deepest = limit;
  while (s < kEnd) {
    std::uint32_t at = s;
    std::uint32_t end = kEnd;
    std::uint32_t beyond = 0;
    std::int32_t extreme = limit;
    do {
      std::int32_t depth = depth_at(at);
      while (depth > release) {
        if (depth > limit) ++beyond;
        if (depth > extreme) extreme = depth;
        if (++at == kEnd) break;
        depth = depth_at(at);
      }
      end = at;
      const std::uint32_t over_at = end + merge_scans + 1;
      for (++at; at < kEnd && at != over_at && depth_at(at) <= limit;) ++at;
    } while (at < kEnd && at - end <= merge_scans);
    if (at >= kEnd) break;
    if (end - s >= least_scans_ || extreme >= keep_) {
      if (counted.excursions++ == 0) counted.first_scan = block.first_scan + s;
      if (!alike) sink.certain(index_, block.first_scan + s);
      last_start = s;
      last_end = end;
      all_beyond += beyond;
      deepest = std::max(deepest, extreme);
    }
    for (s = at; s < kEnd && depth_at(s) <= limit;) ++s;
  }
  if (counted.excursions == 0) return s;
  counted.last_start_scan = block.first_scan + last_start;
  counted.last_scan = block.first_scan + last_end - 1;
  counted.scans_beyond = all_beyond;
  counted.extreme_code = static_cast<std::int16_t>(deepest * sign);
  sink.counted(index_, counted, alike);
  return s;
}

// One loop a state, with what they share in registers: in a storm every channel goes through all three again and again.
void ExcursionTracker::walk(const ScanBlock& block, ExcursionSink& sink) {
  constexpr std::uint32_t kEnd = wire::kScansPerBlock;
  const std::int32_t limit = limit_;
  const std::int32_t sign = sign_;
  const std::int16_t* codes = &block.codes[0][channel_];
  const auto depth_at = [=](std::uint32_t s) { return codes[s * wire::kChannelCount] * sign; };
  for (std::uint32_t s = 0; s < kEnd;) {
    if (state_ == State::kIdle) {
      while (s < kEnd && depth_at(s) <= limit) ++s;
      if (s == kEnd) return;
      if (const Attention attention = sink.attention(block); attention != Attention::kEach) {
        s = count_through(block, s, attention == Attention::kCountsAlike, sink);
        if (s == kEnd) return;
      }
      begin(block.first_scan + s);
    }
    if (state_ == State::kInside) s = walk_inside(block, s, sink);
    if (state_ != State::kWaiting) continue;
    const auto gap_at_block = static_cast<std::uint32_t>(block.first_scan - open_.end_scan);  // may be below 0: wraps
    while (s < kEnd && gap_at_block + s <= merge_scans_ && depth_at(s) <= limit) ++s;
    if (s == kEnd) return;
    if (gap_at_block + s > merge_scans_) {
      finish(sink);
    } else {
      state_ = State::kInside;
    }
  }
}

void ExcursionTracker::begin(std::uint64_t scan) {
  open_.start_scan = scan;
  open_.area_code_scans = 0;
  open_.scans_beyond = 0;
  open_.truncated = false;
  extreme_ = limit_;
  certain_ = false;
  state_ = State::kInside;
}

void ExcursionTracker::finish(ExcursionSink& sink) {
  state_ = State::kIdle;
  open_.extreme_code = static_cast<std::int16_t>(extreme_ * sign_);
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
