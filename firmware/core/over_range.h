// SPDX-License-Identifier: Apache-2.0
// A channel beyond its converter's range for long: an open divider, a wrong rail, a lost reference. What is measured
// there is a bound and no measurement, and no limit of it can be trusted.
#pragma once

#include <array>
#include <bit>
#include <cstdint>
#include <limits>
#include <optional>

#include "firmware/hal/scan_source.h"

namespace firmware {

inline constexpr std::uint32_t kOverRangeBlocks = 100;  // 0.1 s without one scan inside the range; own choice

class OverRangeWatch {
 public:
  /// `low_end_mask`: channels whose low end counts too. Of the others it is a rail at 0 V.
  void configure(std::uint32_t low_end_mask) { low_end_mask_ = low_end_mask; }
  void begin() {
    blocks_ = {};
    counting_mask_ = 0;
  }

  /// The lowest channel of which no scan was within the range for kOverRangeBlocks blocks, `block` the latest.
  /// `clipped_mask`: the channels with a code at an end in it, where that is known; else all.
  std::optional<std::uint8_t> look(const ScanBlock& block, std::uint32_t clipped_mask) {
    std::optional<std::uint8_t> found;
    std::uint32_t beyond_mask = 0;
    for (std::uint32_t left = clipped_mask; left != 0; left &= left - 1) {
      const auto c = static_cast<std::uint8_t>(std::countr_zero(left));
      if (!whole_block_at_an_end(block, c)) continue;
      beyond_mask |= std::uint32_t{1} << c;
      if (blocks_[c] < kOverRangeBlocks) ++blocks_[c];
      if (blocks_[c] == kOverRangeBlocks && !found) found = c;
    }
    for (std::uint32_t left = counting_mask_ & ~beyond_mask; left != 0; left &= left - 1) {
      blocks_[static_cast<std::size_t>(std::countr_zero(left))] = 0;
    }
    counting_mask_ = beyond_mask;
    return found;
  }

 private:
  bool whole_block_at_an_end(const ScanBlock& block, std::size_t channel) const {
    constexpr std::int16_t kTop = std::numeric_limits<std::int16_t>::max();
    const std::int16_t end = block.codes[0][channel];
    const bool low_end = end == std::numeric_limits<std::int16_t>::min() && (low_end_mask_ >> channel & 1) != 0;
    if (end != kTop && !low_end) return false;
    for (const auto& scan : block.codes) {
      if (scan[channel] != end) return false;
    }
    return true;
  }

  std::uint32_t low_end_mask_ = 0;
  std::uint32_t counting_mask_ = 0;  // channels whose count is not 0
  std::array<std::uint8_t, wire::kChannelCount> blocks_{};
};

}  // namespace firmware
