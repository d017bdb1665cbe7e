// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/variance_cell.h"

#include <gtest/gtest.h>

#include <cmath>

namespace wire {
namespace {

/// The rule in words of wire.md, by logarithm instead of bits.
double lower_end(std::uint32_t cell) {
  if (cell < 16) return cell / 64.0;
  const std::uint32_t octave = cell / 8;
  return (8 + cell % 8) * std::pow(2.0, octave - 1.0) / 64.0;
}

TEST(VarianceCellTest, CellsFollowOneAnotherWithoutHoles) {
  for (std::uint32_t cell = 0; cell <= kVarianceCellMax; ++cell) {
    const auto first = static_cast<std::uint64_t>(lower_end(cell) * 64);
    const auto next = static_cast<std::uint64_t>(lower_end(cell + 1) * 64);
    EXPECT_EQ(variance_cell(first), cell);
    EXPECT_EQ(variance_cell(next - 1), cell);
  }
}

TEST(VarianceCellTest, ReadsTheMiddleOfTheCell) {
  EXPECT_EQ(variance_of_cell(0), 0.0F);
  for (std::uint32_t cell = 1; cell <= kVarianceCellMax; ++cell) {
    EXPECT_EQ(variance_of_cell(cell), (lower_end(cell) + lower_end(cell + 1)) / 2) << cell;
  }
}

TEST(VarianceCellTest, TheLargestVarianceOfSixteenBitCodesHasTheLastCell) {
  // (65,535 / 2)^2 in 1/64 code^2.
  EXPECT_EQ(variance_cell(65535ULL * 65535 * 16), kVarianceCellMax);
}

}  // namespace
}  // namespace wire
