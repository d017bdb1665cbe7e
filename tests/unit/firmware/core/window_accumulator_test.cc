// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/window_accumulator.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <vector>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

using testing::block_of;
using testing::Random;

constexpr std::int16_t kLow = -20000;
constexpr std::int16_t kHigh = 20000;

std::vector<ScanBlock> random_blocks(std::uint64_t seed, std::size_t count, std::uint64_t first_scan) {
  Random random(seed);
  std::vector<ScanBlock> blocks;
  for (std::size_t k = 0; k < count; ++k) {
    blocks.push_back(block_of(first_scan + 32 * k, [&](std::uint64_t, std::size_t) {
      return static_cast<std::int16_t>(random.between(-32768, 32767));
    }));
  }
  return blocks;
}

void feed(WindowAccumulator& windows, const std::vector<ScanBlock>& blocks) {
  CountLimits limits;
  limits.low.fill(kLow);
  limits.high.fill(kHigh);
  ScanSums sums;
  for (const ScanBlock& block : blocks) {
    reduce(block.codes, limits, sums);
    windows.add(block.first_scan, sums);
  }
}

/// Compares one window with sums over the scans themselves.
void expect_window(const StampedWindows& got, std::uint32_t window, const std::vector<ScanBlock>& blocks) {
  const std::uint64_t n = got.block.scans_per_window;
  const std::uint64_t first = got.first_scan + window * n;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    std::int64_t min = 99999;
    std::int64_t max = -99999;
    std::int64_t sum = 0;
    std::int64_t squares = 0;
    std::int64_t below = 0;
    std::int64_t above = 0;
    for (std::uint64_t scan = first; scan < first + n; ++scan) {
      const std::uint64_t at = scan - blocks[0].first_scan;
      const std::int64_t code = blocks[at / 32].codes[at % 32][c];
      min = std::min(min, code);
      max = std::max(max, code);
      sum += code;
      squares += code * code;
      below += code < kLow ? 1 : 0;
      above += code > kHigh ? 1 : 0;
    }
    const wire::WindowColumns& columns = got.block.channels[c];
    EXPECT_EQ(columns.min[window], min);
    EXPECT_EQ(columns.max[window], max);
    EXPECT_EQ(columns.sum[window], sum);
    EXPECT_EQ(columns.m2[window], static_cast<std::int64_t>(n) * squares - sum * sum);
    EXPECT_EQ(columns.below[window], below);
    EXPECT_EQ(columns.above[window], above);
  }
}

TEST(WindowAccumulatorTest, ReducesEveryWindowLengthAsTheScansAddUp) {
  for (const std::uint32_t length : {32U, 64U, 128U, 256U}) {
    Health health;
    WindowAccumulator windows(health);
    windows.begin(length, 3);
    const auto blocks = random_blocks(length, length, 6400);  // exactly 32 windows
    feed(windows, blocks);
    const StampedWindows* got = windows.waiting();
    ASSERT_NE(got, nullptr);
    EXPECT_EQ(got->first_scan, 6400U);
    EXPECT_EQ(got->armed_set, 3U);
    EXPECT_EQ(got->block.scans_per_window, length);
    ASSERT_EQ(got->block.window_count, 32U);
    for (std::uint32_t w = 0; w < 32; ++w) expect_window(*got, w, blocks);
    windows.release();
    EXPECT_EQ(windows.waiting(), nullptr);
  }
}

TEST(WindowAccumulatorTest, KeepsTheRestOfACutWindowAsShorterOnes) {
  Health health;
  WindowAccumulator windows(health);
  windows.begin(256, 1);
  const auto blocks = random_blocks(9, 15, 0);  // one window of 256 scans and 7 blocks more
  feed(windows, blocks);
  windows.flush();
  std::vector<std::uint32_t> lengths;
  std::uint64_t next = 0;
  for (const StampedWindows* got = windows.waiting(); got != nullptr; got = windows.waiting()) {
    EXPECT_EQ(got->first_scan, next);
    ASSERT_EQ(got->block.window_count, 1U);
    expect_window(*got, 0, blocks);
    lengths.push_back(got->block.scans_per_window);
    next += got->scans();
    windows.release();
  }
  EXPECT_EQ(lengths, (std::vector<std::uint32_t>{256, 128, 64, 32}));
  EXPECT_EQ(next, 15U * 32);
  EXPECT_EQ(health.blocks_dropped, 0U);
}

TEST(WindowAccumulatorTest, MergesBlocksThatTheLineLeavesWaiting) {
  Health health;
  WindowAccumulator windows(health);
  windows.begin(32, 1);
  const auto blocks = random_blocks(4, 8 * 32, 0);  // eight whole blocks, none taken
  feed(windows, blocks);
  const StampedWindows* got = windows.waiting();
  ASSERT_NE(got, nullptr);
  EXPECT_EQ(got->first_scan, 0U);
  EXPECT_EQ(got->scans(), 8192U);
  EXPECT_GT(health.blocks_merged, 0U);
  EXPECT_EQ(health.blocks_dropped, 0U);
  for (std::uint32_t w = 0; w < got->block.window_count; ++w) expect_window(*got, w, blocks);
}

TEST(WindowAccumulatorTest, CountsABlockThatCannotBeMergedAnyMore) {
  Health health;
  WindowAccumulator windows(health);
  windows.begin(256, 1);
  const auto blocks = random_blocks(5, 2 * 256, 0);  // 8,192 scans each: no room for a second
  feed(windows, blocks);
  EXPECT_EQ(health.blocks_dropped, 1U);
  ASSERT_NE(windows.waiting(), nullptr);
  EXPECT_EQ(windows.waiting()->scans(), 8192U);
  EXPECT_EQ(windows.waiting()->first_scan, 0U);
}

TEST(WindowAccumulatorTest, MarksChannelsAtTheEndsOfTheRange) {
  ScanSums sums;
  const ScanBlock block = block_of(0, [](std::uint64_t scan, std::size_t channel) {
    if (channel == 3 && scan == 31) return std::int16_t{32767};
    if (channel == 5 && scan == 0) return std::int16_t{-32768};
    return static_cast<std::int16_t>(channel == 7 ? 32766 : 0);
  });
  reduce(block.codes, CountLimits{}, sums);
  EXPECT_EQ(sums.clipped_mask, std::uint32_t{1 << 3 | 1 << 5});
}

}  // namespace
}  // namespace firmware
