// SPDX-License-Identifier: Apache-2.0
#include <gtest/gtest.h>

#include "proto/wire/body_reader.h"
#include "tests/unit/proto/wire/bytes.h"

namespace wire {
namespace {

/// Bit by bit: value k is bits [k * width, (k + 1) * width) of the bytes, lowest first.
std::uint32_t value_by_bit(const Bytes& packed, std::uint32_t width, std::uint32_t k) {
  std::uint32_t value = 0;
  for (std::uint32_t bit = 0; bit < width; ++bit) {
    const std::uint32_t at = k * width + bit;
    value |= (std::to_integer<std::uint32_t>(packed[at / 8]) >> at % 8 & 1) << bit;
  }
  return value;
}

TEST(UnpackValuesTest, BothPathsGiveTheBitsAtEveryWidth) {
  std::mt19937 random(12);
  for (std::uint32_t width = 0; width <= kColumnWidthMax; ++width) {
    const Bytes packed = random_bytes(random, 4 * kColumnWidthMax + 16, 256);
    ColumnValues plain;
    ColumnValues fast;
    unpack_values_plain(packed.data(), width, plain);
    unpack_values(packed.data(), width, fast);
    for (std::uint32_t k = 0; k < kColumnValuesMax; ++k) {
      ASSERT_EQ(plain[k], value_by_bit(packed, width, k)) << "width " << width << " value " << k;
      ASSERT_EQ(fast[k], plain[k]) << "width " << width << " value " << k;
    }
  }
}

}  // namespace
}  // namespace wire
