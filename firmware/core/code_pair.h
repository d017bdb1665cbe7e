// SPDX-License-Identifier: Apache-2.0
// Codes of two neighbouring channels in one word: on the chip SSUB16 tells by half-word which of two is less, and SEL
// picks.
#pragma once

#include <algorithm>
#include <cstdint>
#include <cstring>

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

// Both instructions as one: g++ 12 forgets that __sel needs the flags of __ssub16 when it puts the function that holds
// them into another one, and every least and greatest code is then wrong.
inline CodePair lesser_pair(CodePair a, CodePair b) {
  CodePair out;
  asm("ssub16 %0, %1, %2\n\tsel %0, %2, %1" : "=&r"(out) : "r"(a), "r"(b) : "cc");
  return out;
}
inline CodePair greater_pair(CodePair a, CodePair b) {
  CodePair out;
  asm("ssub16 %0, %1, %2\n\tsel %0, %1, %2" : "=&r"(out) : "r"(a), "r"(b) : "cc");
  return out;
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
