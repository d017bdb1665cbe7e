// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/scan_sums.h"

#include <algorithm>
#include <limits>

#include "firmware/core/code_pair.h"

#if defined(__ARM_FEATURE_SIMD32)
#include <arm_acle.h>
#endif

namespace firmware {
namespace {

constexpr std::int16_t kCodeMin = std::numeric_limits<std::int16_t>::min();
constexpr std::int16_t kCodeMax = std::numeric_limits<std::int16_t>::max();

std::uint16_t count_below(const wire::ScanCodes& codes, std::size_t channel, std::int16_t limit) {
  std::uint32_t count = 0;
#pragma GCC unroll 8
  for (std::size_t s = 0; s < wire::kScansPerBlock; ++s) count += codes[s][channel] < limit ? 1 : 0;
  return static_cast<std::uint16_t>(count);
}

std::uint16_t count_above(const wire::ScanCodes& codes, std::size_t channel, std::int16_t limit) {
  std::uint32_t count = 0;
#pragma GCC unroll 8
  for (std::size_t s = 0; s < wire::kScansPerBlock; ++s) count += codes[s][channel] > limit ? 1 : 0;
  return static_cast<std::uint16_t>(count);
}

// The extremes tell most: scans are only walked where the limit lies between them.
void count_beyond(const wire::ScanCodes& codes, const CountLimits& limits, std::size_t channel, ChannelSums& sums) {
  const std::int16_t low = limits.low[channel];
  const std::int16_t high = limits.high[channel];
  if (sums.max < low) {
    sums.below = wire::kScansPerBlock;
  } else if (sums.min < low) {
    sums.below = count_below(codes, channel, low);
  }
  if (sums.min > high) {
    sums.above = wire::kScansPerBlock;
  } else if (sums.max > high) {
    sums.above = count_above(codes, channel, high);
  }
}

#if defined(__ARM_FEATURE_SIMD32)

// Two channels in one word, all scans of it in registers: 11 instructions a pair and scan against 24 for the plain loop
// (counted under emulation).
void reduce_columns(const wire::ScanCodes& codes, ScanSums& out) {
  for (std::size_t c = 0; c < wire::kChannelCount; c += 2) {
    CodePair low = code_pair(&codes[0][c]);
    CodePair high = low;
    std::int32_t sums[2] = {};
    std::int64_t squares[2] = {};
#pragma GCC unroll 8
    for (std::size_t s = 0; s < wire::kScansPerBlock; ++s) {
      const CodePair pair = code_pair(&codes[s][c]);
      // In this function itself the compiler keeps the flags between the two, and needs no register for the result.
      __ssub16(static_cast<int16x2_t>(pair), static_cast<int16x2_t>(low));
      low = __sel(low, pair);
      __ssub16(static_cast<int16x2_t>(pair), static_cast<int16x2_t>(high));
      high = __sel(pair, high);
      // SMLABB and SMLATB by 1 add a half-word without taking it out of its word first.
      sums[0] = __smlabb(static_cast<std::int32_t>(pair), 1, sums[0]);
      sums[1] = __smlatb(static_cast<std::int32_t>(pair), 1, sums[1]);
      squares[0] += std::int64_t{first_of(pair)} * first_of(pair);
      squares[1] += std::int64_t{second_of(pair)} * second_of(pair);
    }
    out.channels[c] = {
        .min = first_of(low), .max = first_of(high), .below = 0, .above = 0, .sum = sums[0], .squares = squares[0]};
    out.channels[c + 1] = {
        .min = second_of(low), .max = second_of(high), .below = 0, .above = 0, .sum = sums[1], .squares = squares[1]};
  }
}

#else

// An inner loop over channels: the compiler turns this into vector code.
void reduce_columns(const wire::ScanCodes& codes, ScanSums& out) {
  auto low = codes[0];
  auto high = codes[0];
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
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    out.channels[c] = {.min = low[c], .max = high[c], .below = 0, .above = 0, .sum = sum[c], .squares = squares[c]};
  }
}

#endif

}  // namespace

void reduce(const wire::ScanCodes& codes, const CountLimits& limits, ScanSums& out) {
  reduce_columns(codes, out);
  out.scans = wire::kScansPerBlock;
  std::uint32_t clipped_mask = 0;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    ChannelSums& channel = out.channels[c];
    if (channel.min == kCodeMin || channel.max == kCodeMax) clipped_mask |= std::uint32_t{1} << c;
    if (channel.min < limits.low[c] || channel.max > limits.high[c]) count_beyond(codes, limits, c, channel);
  }
  out.clipped_mask = clipped_mask;
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
