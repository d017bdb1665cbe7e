// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/scan_sums.h"

#include <algorithm>
#include <limits>

namespace firmware {
namespace {

constexpr std::int16_t kCodeMin = std::numeric_limits<std::int16_t>::min();
constexpr std::int16_t kCodeMax = std::numeric_limits<std::int16_t>::max();

void count_beyond(const wire::ScanCodes& codes, const CountLimits& limits, std::size_t channel, ChannelSums& sums) {
  if (sums.min < limits.low[channel]) {
    for (const auto& scan : codes) sums.below += scan[channel] < limits.low[channel] ? 1 : 0;
  }
  if (sums.max > limits.high[channel]) {
    for (const auto& scan : codes) sums.above += scan[channel] > limits.high[channel] ? 1 : 0;
  }
}

}  // namespace

void reduce(const wire::ScanCodes& codes, const CountLimits& limits, ScanSums& out) {
  // Column arrays and an inner loop over channels: the compiler turns this into vector code where there is any.
  std::array<std::int16_t, wire::kChannelCount> low = codes[0];
  std::array<std::int16_t, wire::kChannelCount> high = codes[0];
  std::array<std::int32_t, wire::kChannelCount> sum{};
  std::array<std::int64_t, wire::kChannelCount> squares{};
  for (const auto& scan : codes) {
    for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
      const std::int16_t code = scan[c];
      low[c] = std::min(low[c], code);
      high[c] = std::max(high[c], code);
      sum[c] += code;
      squares[c] += std::int32_t{code} * code;
    }
  }
  out.scans = wire::kScansPerBlock;
  out.clipped_mask = 0;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    ChannelSums& channel = out.channels[c];
    channel = {.min = low[c], .max = high[c], .below = 0, .above = 0, .sum = sum[c], .squares = squares[c]};
    if (low[c] == kCodeMin || high[c] == kCodeMax) out.clipped_mask |= std::uint32_t{1} << c;
    count_beyond(codes, limits, c, channel);
  }
}

void join(ScanSums& earlier, const ScanSums& later) {
  earlier.scans += later.scans;
  earlier.clipped_mask |= later.clipped_mask;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    ChannelSums& into = earlier.channels[c];
    const ChannelSums& from = later.channels[c];
    into.min = std::min(into.min, from.min);
    into.max = std::max(into.max, from.max);
    into.below = static_cast<std::uint16_t>(into.below + from.below);
    into.above = static_cast<std::uint16_t>(into.above + from.above);
    into.sum += from.sum;
    into.squares += from.squares;
  }
}

}  // namespace firmware
