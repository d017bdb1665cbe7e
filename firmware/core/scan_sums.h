// SPDX-License-Identifier: Apache-2.0
// Reduces stretches of scans to the sums a window is made of. Exact: 16-bit codes over up to 8,192 scans.
#pragma once

#include <array>
#include <cstdint>

#include "firmware/core/settings.h"
#include "proto/wire/scan_stream.h"

namespace firmware {

struct ChannelSums {
  std::int16_t min = 0;
  std::int16_t max = 0;
  std::uint16_t below = 0;  // scans beyond the armed low limit
  std::uint16_t above = 0;  // scans beyond the armed high limit
  std::int32_t sum = 0;     // of codes
  std::int64_t squares = 0;
};

/// All channels over one stretch of scans.
struct ScanSums {
  std::uint32_t scans = 0;
  std::uint32_t clipped_mask = 0;  // channels with a code at either end of the converter's range
  std::array<ChannelSums, wire::kChannelCount> channels{};
};

/// Sums of one block of 32 scans. Extremes are tested against the limits first; scans are only walked on a hit.
void reduce(const wire::ScanCodes& codes, const CountLimits& limits, ScanSums& out);

/// Joins `later` to `earlier`.
void join(ScanSums& earlier, const ScanSums& later);

}  // namespace firmware
