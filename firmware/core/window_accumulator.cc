// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/window_accumulator.h"

#include <algorithm>

#include "firmware/core/scan_time.h"

namespace firmware {
namespace {

void put_window(StampedWindows& into, const ScanSums& sums) {
  const std::uint32_t at = into.block.window_count++;
  const auto scans = static_cast<std::int64_t>(sums.scans);
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    wire::WindowColumns& columns = into.block.channels[c];
    const ChannelSums& channel = sums.channels[c];
    columns.min[at] = channel.min;
    columns.max[at] = channel.max;
    columns.sum[at] = channel.sum;
    columns.m2[at] = scans * channel.squares - std::int64_t{channel.sum} * channel.sum;
    columns.below[at] = channel.below;
    columns.above[at] = channel.above;
  }
  into.clipped_mask |= sums.clipped_mask;
}

void append_windows(wire::WindowBlock& into, const wire::WindowBlock& from) {
  const std::uint32_t at = into.window_count;
  const std::uint32_t count = from.window_count;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    wire::WindowColumns& to = into.channels[c];
    const wire::WindowColumns& source = from.channels[c];
    std::copy_n(source.min.begin(), count, to.min.begin() + at);
    std::copy_n(source.max.begin(), count, to.max.begin() + at);
    std::copy_n(source.sum.begin(), count, to.sum.begin() + at);
    std::copy_n(source.m2.begin(), count, to.m2.begin() + at);
    std::copy_n(source.below.begin(), count, to.below.begin() + at);
    std::copy_n(source.above.begin(), count, to.above.begin() + at);
  }
  into.window_count += count;
}

/// Merges pairs until both fit one block, then puts `later` behind `earlier`. False when they cannot be one block.
bool unite(StampedWindows& earlier, StampedWindows& later, std::uint32_t& merges) {
  if (earlier.first_scan + earlier.scans() != later.first_scan || earlier.armed_set != later.armed_set) return false;
  if (earlier.scans() + later.scans() > wire::kScansPerWindowMax) return false;
  while (earlier.block.scans_per_window != later.block.scans_per_window ||
         earlier.block.window_count + later.block.window_count > wire::kWindowsPerBlock) {
    const bool same = earlier.block.scans_per_window == later.block.scans_per_window;
    const bool earlier_finer = earlier.block.scans_per_window < later.block.scans_per_window;
    if ((same || earlier_finer) && !wire::merge_pairs(earlier.block)) return false;
    if ((same || !earlier_finer) && !wire::merge_pairs(later.block)) return false;
    merges += same ? 2 : 1;
  }
  append_windows(earlier.block, later.block);
  earlier.clipped_mask |= later.clipped_mask;
  return true;
}

void clear(StampedWindows& windows) {
  windows.block.window_count = 0;
  windows.clipped_mask = 0;
}

}  // namespace

void WindowAccumulator::begin(std::uint32_t scans_per_window, std::uint32_t armed_set) {
  scans_per_window_ = scans_per_window;
  armed_set_ = armed_set;
  clear(blocks_[filling_]);
  for (Stretch& level : levels_) level.sums.scans = 0;
}

void WindowAccumulator::add(std::uint64_t first_scan, const ScanSums& sums) {
  if (sums.scans == scans_per_window_) {
    append(first_scan, sums);
  } else {
    carry_up(first_scan, sums);
  }
  if (blocks_[filling_].block.window_count == wire::kWindowsPerBlock) hand_over();
}

// A binary counter: two stretches of one length make one of the next, so that a cut leaves whole powers of two.
void WindowAccumulator::carry_up(std::uint64_t first_scan, const ScanSums& sums) {
  Stretch carry{first_scan, sums};
  for (std::size_t k = 0; carry.sums.scans < scans_per_window_; ++k) {
    Stretch& level = levels_[k];
    if (level.sums.scans == 0) {
      level = carry;
      return;
    }
    join(level.sums, carry.sums);
    carry = level;
    level.sums.scans = 0;
  }
  append(carry.first_scan, carry.sums);
}

void WindowAccumulator::append(std::uint64_t first_scan, const ScanSums& window) {
  StampedWindows& block = blocks_[filling_];
  if (block.block.window_count == 0) {
    block.first_scan = first_scan;
    block.armed_set = armed_set_;
    block.block.scans_per_window = window.scans;
  }
  put_window(block, window);
}

void WindowAccumulator::hand_over() {
  StampedWindows& full = blocks_[filling_];
  if (full.block.window_count == 0) return;
  if (!waiting_) waiting();  // the rest of an earlier stretch goes first
  if (!waiting_) {
    waiting_ = true;
    filling_ ^= 1;
    ++changes_;
  } else {
    std::uint32_t merges = 0;
    const bool united = unite(blocks_[filling_ ^ 1], full, merges);
    count_up(health_.blocks_merged, merges);
    if (!united) count_up(health_.blocks_dropped);
    ++changes_;
  }
  clear(blocks_[filling_]);
}

void WindowAccumulator::flush() {
  hand_over();
  bool cut = false;
  for (const Stretch& level : levels_) cut = cut || level.sums.scans != 0;
  if (!cut) return;
  for (const Stretch& rest : tail_) {
    if (rest.sums.scans != 0) count_up(health_.blocks_dropped);
  }
  tail_ = levels_;
  tail_set_ = armed_set_;
  for (Stretch& level : levels_) level.sums.scans = 0;
}

StampedWindows* WindowAccumulator::waiting() {
  StampedWindows& block = blocks_[filling_ ^ 1];
  if (waiting_) return &block;
  // The longest rest is the earliest.
  for (std::size_t k = kLevels; k-- > 0;) {
    if (tail_[k].sums.scans == 0) continue;
    clear(block);
    block.first_scan = tail_[k].first_scan;
    block.armed_set = tail_set_;
    block.block.scans_per_window = tail_[k].sums.scans;
    put_window(block, tail_[k].sums);
    tail_[k].sums.scans = 0;
    waiting_ = true;
    ++changes_;
    return &block;
  }
  return nullptr;
}

std::size_t WindowAccumulator::slot_bytes(std::uint32_t line_bytes_per_s, std::uint32_t percent) const {
  const std::uint32_t scans =
      std::max<std::uint32_t>(blocks_[filling_ ^ 1].scans(), scans_per_window_ * wire::kWindowsPerBlock);
  return static_cast<std::size_t>(std::uint64_t{line_bytes_per_s} * percent * scans / 100 / kScansPerSecond);
}

void WindowAccumulator::release() {
  waiting_ = false;
}

}  // namespace firmware
