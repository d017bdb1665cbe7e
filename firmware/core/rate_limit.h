// SPDX-License-Identifier: Apache-2.0
// So many a second of device time, saved up to a burst.
#pragma once

#include <algorithm>
#include <cstdint>

#include "firmware/core/scan_time.h"

namespace firmware {

class RateLimit {
 public:
  RateLimit() = default;
  RateLimit(std::uint32_t per_second, std::uint32_t burst) : per_second_(per_second), burst_(burst) {}

  /// Full burst from `scan` on.
  void begin(std::uint64_t scan) {
    scan_ = scan;
    credit_ = std::uint64_t{burst_} * kScansPerSecond;
  }

  /// True when one more is within the limit at `scan`; scans never go back.
  [[nodiscard]] bool take(std::uint64_t scan) {
    if (spent_at(scan)) return false;
    const std::uint64_t full = std::uint64_t{burst_} * kScansPerSecond;
    // More than the burst's worth of scans fills it anyway; the product then cannot overflow.
    const std::uint64_t passed = std::min<std::uint64_t>(scan - scan_, full);
    credit_ = std::min(credit_ + passed * per_second_, full);
    scan_ = scan;
    if (credit_ < kScansPerSecond) return false;
    credit_ -= kScansPerSecond;
    return true;
  }

  /// True when take() has been refused at this very scan; storms ask again and again.
  bool spent_at(std::uint64_t scan) const { return scan == scan_ && credit_ < kScansPerSecond; }

 private:
  std::uint32_t per_second_ = 0;
  std::uint32_t burst_ = 0;
  std::uint64_t scan_ = 0;
  std::uint64_t credit_ = 0;  // one event costs kScansPerSecond
};

}  // namespace firmware
