// SPDX-License-Identifier: Apache-2.0
// Codes of two neighbouring channels in one word: on the chip SSUB16 tells by half-word which of two is less, and SEL
// picks.
#pragma once

#include <algorithm>
#include <cstdint>
#include <cstring>

#if defined(__ARM_FEATURE_SIMD32)
#include <arm_acle.h>
#endif

namespace firmware {

/// The first channel in the low half.
using CodePair = std::uint32_t;

constexpr std::int16_t first_of(CodePair pair) {
  return static_cast<std::int16_t>(pair);
}
constexpr std::int16_t second_of(CodePair pair) {
  return static_cast<std::int16_t>(pair >> 16);
}

/// `codes` of the first channel; the second one's follows.
inline CodePair code_pair(const std::int16_t* codes) {
  CodePair pair;
  std::memcpy(&pair, codes, sizeof pair);
  return pair;
}

#if defined(__ARM_FEATURE_SIMD32)

inline CodePair lesser_pair(CodePair a, CodePair b) {
  __ssub16(static_cast<int16x2_t>(a), static_cast<int16x2_t>(b));
  return __sel(b, a);
}
inline CodePair greater_pair(CodePair a, CodePair b) {
  __ssub16(static_cast<int16x2_t>(a), static_cast<int16x2_t>(b));
  return __sel(a, b);
}

#else

constexpr CodePair pair_of(std::int16_t first, std::int16_t second) {
  return static_cast<std::uint16_t>(first) | CodePair{static_cast<std::uint16_t>(second)} << 16;
}
constexpr CodePair lesser_pair(CodePair a, CodePair b) {
  return pair_of(std::min(first_of(a), first_of(b)), std::min(second_of(a), second_of(b)));
}
constexpr CodePair greater_pair(CodePair a, CodePair b) {
  return pair_of(std::max(first_of(a), first_of(b)), std::max(second_of(a), second_of(b)));
}

#endif

}  // namespace firmware
