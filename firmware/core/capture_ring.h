// SPDX-License-Identifier: Apache-2.0
// The last scans of every channel at the full rate. Captures are packed out of it while it runs on, so it holds the
// scans before a trigger plus what packing may lag behind, not the captures themselves.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <cstring>

#include "firmware/hal/scan_source.h"

namespace firmware {

inline constexpr std::uint32_t kRingScans = 832;  // 26 ms, 39 KiB
static_assert(kRingScans % wire::kScansPerBlock == 0);

class CaptureRing {
 public:
  using Scan = std::array<std::int16_t, wire::kChannelCount>;

  /// Forgets everything; the next block begins at `first_scan`.
  void begin(std::uint64_t first_scan) {
    next_scan_ = first_scan;
    held_ = 0;
  }

  void add(const ScanBlock& block) {
    std::memcpy(&scans_[head_], block.codes.data(), sizeof block.codes);  // blocks never wrap
    head_ = (head_ + wire::kScansPerBlock) % kRingScans;
    next_scan_ += wire::kScansPerBlock;
    held_ = held_ + wire::kScansPerBlock > kRingScans ? kRingScans : held_ + wire::kScansPerBlock;
  }

  std::uint64_t first_scan() const { return next_scan_ - held_; }
  std::uint64_t next_scan() const { return next_scan_; }

  /// `scan` in [first_scan(), next_scan()). Scans of one block lie side by side.
  const Scan& at(std::uint64_t scan) const {
    const auto back = static_cast<std::uint32_t>(next_scan_ - scan);
    return scans_[head_ >= back ? head_ - back : head_ + kRingScans - back];
  }

  /// Sum of one channel's codes over `count` scans from `first_scan` on, all of them held.
  std::int32_t sum(std::uint64_t first_scan, std::uint32_t count, std::size_t channel) const {
    const Scan* scan = &at(first_scan);
    const auto before_wrap = std::min(count, static_cast<std::uint32_t>(scans_.data() + kRingScans - scan));
    std::int32_t sum = 0;
    for (const Scan* const wrap = scan + before_wrap; scan != wrap; ++scan) sum += (*scan)[channel];
    scan = scans_.data();
    for (const Scan* const end = scan + (count - before_wrap); scan != end; ++scan) sum += (*scan)[channel];
    return sum;
  }

  /// Copies one channel's codes of `count` scans from `first_scan` on, all of them held.
  void copy_column(std::uint64_t first_scan, std::uint32_t count, std::size_t channel, std::int16_t* out) const {
    const Scan* scan = &at(first_scan);
    const auto before_wrap = std::min(count, static_cast<std::uint32_t>(scans_.data() + kRingScans - scan));
    const std::int16_t* const end = out + count;
    for (const std::int16_t* const wrap = out + before_wrap; out != wrap; ++scan) *out++ = (*scan)[channel];
    for (scan = scans_.data(); out != end; ++scan) *out++ = (*scan)[channel];
  }

 private:
  std::array<Scan, kRingScans> scans_{};
  std::uint32_t head_ = 0;
  std::uint32_t held_ = 0;
  std::uint64_t next_scan_ = 0;
};

}  // namespace firmware
