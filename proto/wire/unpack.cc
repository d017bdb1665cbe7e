// SPDX-License-Identifier: Apache-2.0
#include <array>

#include "proto/wire/body_reader.h"

#if defined(__SSE4_1__)
#include <smmintrin.h>
#endif

namespace wire {

void unpack_values_plain(const std::byte* packed, std::uint32_t width, ColumnValues& out) {
  const std::uint32_t mask = (1U << width) - 1;
  std::uint32_t bit = 0;
  for (std::uint32_t& value : out) {
    const std::byte* at = packed + bit / 8;
    const std::uint32_t word = std::to_integer<std::uint32_t>(at[0]) | std::to_integer<std::uint32_t>(at[1]) << 8 |
                               std::to_integer<std::uint32_t>(at[2]) << 16 |
                               std::to_integer<std::uint32_t>(at[3]) << 24;
    value = word >> bit % 8 & mask;
    bit += width;
  }
}

#if defined(__SSE4_1__)
namespace {

/// How four values side by side are lifted out of 16 bytes: each value's four bytes into a lane of its own, then a
/// multiplication in place of the shift by lane that this baseline lacks. It brings every value to bit 7.
struct Lift {
  alignas(16) std::array<std::uint8_t, 16> bytes;
  alignas(16) std::array<std::uint32_t, 4> factors;
};

constexpr Lift make_lift(std::uint32_t width, std::uint32_t first_bit) {
  Lift lift{};
  for (std::uint32_t lane = 0; lane < 4; ++lane) {
    const std::uint32_t bit = first_bit + lane * width;
    for (std::uint32_t k = 0; k < 4; ++k) lift.bytes[4 * lane + k] = static_cast<std::uint8_t>(bit / 8 + k);
    lift.factors[lane] = 1U << (7 - bit % 8);
  }
  return lift;
}

/// Two per width: four values begin on a byte, or in the middle of one.
constexpr auto kLifts = [] {
  std::array<std::array<Lift, 2>, kColumnWidthMax + 1> lifts{};
  for (std::uint32_t width = 0; width <= kColumnWidthMax; ++width) {
    lifts[width] = {make_lift(width, 0), make_lift(width, 4 * width % 8)};
  }
  return lifts;
}();

__m128i lifted(const std::byte* at, const Lift& lift, __m128i mask) {
  const __m128i words = _mm_shuffle_epi8(_mm_loadu_si128(reinterpret_cast<const __m128i*>(at)),
                                         _mm_load_si128(reinterpret_cast<const __m128i*>(lift.bytes.data())));
  const __m128i moved = _mm_mullo_epi32(words, _mm_load_si128(reinterpret_cast<const __m128i*>(lift.factors.data())));
  return _mm_and_si128(_mm_srli_epi32(moved, 7), mask);
}

}  // namespace

void unpack_values(const std::byte* packed, std::uint32_t width, ColumnValues& out) {
  const __m128i mask = _mm_set1_epi32(static_cast<int>((1U << width) - 1));
  const auto& [even, odd] = kLifts[width];
  auto* to = reinterpret_cast<__m128i*>(out.data());
  for (std::size_t eight = 0; eight < kColumnValuesMax / 8; ++eight, packed += width) {
    _mm_storeu_si128(to++, lifted(packed, even, mask));
    _mm_storeu_si128(to++, lifted(packed + width / 2, odd, mask));
  }
}
#else
void unpack_values(const std::byte* packed, std::uint32_t width, ColumnValues& out) {
  unpack_values_plain(packed, width, out);
}
#endif

}  // namespace wire
