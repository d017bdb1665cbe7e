// SPDX-License-Identifier: Apache-2.0
// Merged windows against windows computed from the same samples at the longer length.
#include "proto/wire/window.h"

#include <gtest/gtest.h>

#include "tests/unit/proto/wire/random_blocks.h"

namespace wire {
namespace {

template <typename Column>
std::vector<typename Column::value_type> first_of(const Column& column, std::size_t count) {
  return {column.begin(), column.begin() + static_cast<std::ptrdiff_t>(count)};
}

void expect_equal(const WindowBlock& merged, const WindowBlock& direct) {
  ASSERT_EQ(merged.scans_per_window, direct.scans_per_window);
  ASSERT_EQ(merged.window_count, direct.window_count);
  const std::size_t count = direct.window_count;
  for (std::size_t channel = 0; channel < kChannelCount; ++channel) {
    const WindowColumns& m = merged.channels[channel];
    const WindowColumns& d = direct.channels[channel];
    EXPECT_EQ(first_of(m.min, count), first_of(d.min, count)) << channel;
    EXPECT_EQ(first_of(m.max, count), first_of(d.max, count)) << channel;
    EXPECT_EQ(first_of(m.sum, count), first_of(d.sum, count)) << channel;
    EXPECT_EQ(first_of(m.m2, count), first_of(d.m2, count)) << channel;
    EXPECT_EQ(first_of(m.below, count), first_of(d.below, count)) << channel;
    EXPECT_EQ(first_of(m.above, count), first_of(d.above, count)) << channel;
  }
}

TEST(MergePairsTest, GivesWhatTheSamplesGiveAtEveryLength) {
  for (const std::uint32_t scans : {32U, 64U, 128U, 256U}) {
    const Samples samples = random_samples(scans, scans * kWindowsPerBlock);
    WindowBlock block = windows_of(samples, scans);
    for (std::uint32_t longer = 2 * scans; longer <= scans * kWindowsPerBlock; longer *= 2) {
      ASSERT_TRUE(merge_pairs(block));
      expect_equal(block, windows_of(samples, longer));
    }
  }
}

TEST(MergePairsTest, RefusesAnOddCountAndALengthAboveTheMost) {
  WindowBlock block = windows_of(random_samples(5, 96), 32);
  ASSERT_EQ(block.window_count, 3U);
  const WindowBlock before = block;
  EXPECT_FALSE(merge_pairs(block));
  expect_equal(block, before);

  block = windows_of(random_samples(6, 2 * kScansPerWindowMax), kScansPerWindowMax);
  EXPECT_FALSE(merge_pairs(block));
  EXPECT_EQ(block.window_count, 2U);

  block.window_count = 0;
  EXPECT_FALSE(merge_pairs(block));
}

// Every scan at the ends of the range: the largest sums and squares there are must not overflow.
TEST(MergePairsTest, StaysExactAtTheEndsOfTheRange) {
  Samples samples = random_samples(9, kScansPerWindowMax);
  for (std::size_t scan = 0; scan < kScansPerWindowMax; ++scan) {
    samples.codes[0][scan] = -32768;
    samples.codes[1][scan] = scan % 2 == 0 ? -32768 : 32767;
    samples.codes[2][scan] = scan < kScansPerWindowMax / 2 ? -32768 : 32767;
  }
  WindowBlock block = windows_of(samples, 256);
  for (int merge = 0; merge < 5; ++merge) ASSERT_TRUE(merge_pairs(block));
  EXPECT_EQ(block.channels[0].sum[0], -32768 * 8192);
  EXPECT_EQ(block.channels[0].m2[0], 0);
  // Variance of equal halves 65,535 apart is (65,535 / 2)^2; times 8,192^2 that is 65,535^2 * 4,096^2.
  EXPECT_EQ(block.channels[1].m2[0], 65535LL * 65535 * 4096 * 4096);
  EXPECT_EQ(block.channels[2].m2[0], 65535LL * 65535 * 4096 * 4096);
}

}  // namespace
}  // namespace wire
