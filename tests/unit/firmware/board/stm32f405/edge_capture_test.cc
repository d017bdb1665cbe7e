// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/edge_capture.h"

#include <gtest/gtest.h>

#include <vector>

#include "firmware/board/stm32f405/sample_clock.h"

namespace firmware::chip {
namespace {

constexpr std::uint8_t kLine = 1;

/// A comparator as its timer's two captures see it. Reading a capture clears its flag, as on the chip.
class SimulatedComparator {
 public:
  SimulatedComparator() {
    timer.SR.on_write = [this](std::uint32_t written) { return timer.SR.value & written; };
    for (std::uint32_t k = 0; k < 2; ++k) {
      timer.CCR[k].on_read = [this, k](std::uint32_t held) {
        timer.SR.value &= ~(2U << k);
        return held;
      };
    }
    capture.begin();
  }
  void edge(bool rise, std::uint32_t ticks) {
    const std::uint32_t k = rise ? 0 : 1;
    if ((timer.SR.value & 2U << k) != 0) timer.SR.value |= 2U << (k + 8);
    timer.SR.value |= 2U << k;
    timer.CCR[k].value = ticks;
  }

  Timer timer;
  ComparatorCapture capture{timer, 0, 0, 0};
};

TEST(ComparatorCaptureTest, PlacesCapturesInTheirScan) {
  SimulatedComparator comparator;
  comparator.edge(true, 100);
  comparator.edge(false, 2600);
  // Read 50 ticks into scan 1001: what lies later in a scan than now was in the scan before.
  const auto edges = comparator.capture.take(1001, 150);
  EXPECT_EQ(edges.rise, 1001U * kTicksPerScan + 100);
  EXPECT_EQ(edges.fall, 1000U * kTicksPerScan + 2600);
  EXPECT_FALSE(edges.missed);
  const auto none = comparator.capture.take(1002, 0);
  EXPECT_FALSE(none.rise || none.fall);
}

TEST(ComparatorCaptureTest, SaysWhenMoreEdgesCameThanItHolds) {
  SimulatedComparator comparator;
  comparator.edge(true, 100);
  comparator.edge(true, 200);
  EXPECT_TRUE(comparator.capture.take(7, 300).missed);
  EXPECT_FALSE(comparator.capture.take(8, 300).missed);
}

/// Both captures listen to the one input, one for each direction (RM0090's CCMR and CCER, by hand).
TEST(ComparatorCaptureTest, ListensToOneInputForBothEdges) {
  Timer timer;
  ComparatorCapture(timer, 0, 2, 0).begin();
  EXPECT_EQ(timer.CCMR[1].value & 3, 1U) << "capture 3: its own input";
  EXPECT_EQ(timer.CCMR[1].value >> 8 & 3, 2U) << "capture 4: the other one's input";
  EXPECT_EQ(timer.CCER.value >> 8 & 0xB, 0x1U) << "capture 3: rising";
  EXPECT_EQ(timer.CCER.value >> 12 & 0xB, 0x3U) << "capture 4: falling";
  EXPECT_EQ(timer.SMCR.value, 4U) << "restart at internal trigger 0";
}

class LineWatchTest : public ::testing::Test {
 protected:
  void take(const ComparatorCapture::Edges& lower, const ComparatorCapture::Edges& upper) {
    watch.take(lower, upper, [this](const LineEdge& edge) { told.push_back(edge); });
  }
  static constexpr Ticks us(std::uint64_t microseconds) { return microseconds * kTicksPerMicrosecond; }

  LineWatch watch{kLine, false};
  std::vector<LineEdge> told;
};

TEST_F(LineWatchTest, TellsARiseAtTheUpperLevelAndAFallAtTheLower) {
  take({.rise = us(1000)}, {.rise = us(1030)});
  take({.fall = us(5020)}, {.fall = us(5000)});
  ASSERT_EQ(told.size(), 2U);
  EXPECT_TRUE(told[0].high);
  EXPECT_EQ(told[0].line, kLine);
  // 1,030 us / 31.25 us = 32.96 scans; 0.96 x 256 = 245.76
  EXPECT_EQ(told[0].scan, 32U);
  EXPECT_EQ(told[0].offset_256, 245);
  EXPECT_EQ(told[0].pulse_ns, 0U);
  EXPECT_FALSE(told[1].high);
  EXPECT_EQ(told[1].scan, 160U);  // 5,020 us
  EXPECT_FALSE(watch.high());
}

TEST_F(LineWatchTest, TellsADipThatLeavesTheUpperLevelOnlyAsAGlitch) {
  take({.rise = us(10)}, {.rise = us(11)});
  told.clear();
  take({}, {.rise = us(102), .fall = us(100)});
  ASSERT_EQ(told.size(), 1U);
  EXPECT_TRUE(told[0].high);
  EXPECT_EQ(told[0].pulse_ns, 2000U);
  EXPECT_EQ(told[0].scan, 3U);  // where it began
  EXPECT_TRUE(watch.high());
}

TEST_F(LineWatchTest, TellsAPeakThatStaysBelowTheUpperLevelAsAGlitch) {
  take({.rise = us(100), .fall = us(101)}, {});
  ASSERT_EQ(told.size(), 1U);
  EXPECT_FALSE(told[0].high);
  EXPECT_EQ(told[0].pulse_ns, 1000U);
}

TEST_F(LineWatchTest, TellsAPulseThroughBothLevelsAsTwoEdgesInOrder) {
  take({.rise = us(100), .fall = us(104)}, {.rise = us(101), .fall = us(103)});
  ASSERT_EQ(told.size(), 2U);
  EXPECT_TRUE(told[0].high);
  EXPECT_FALSE(told[1].high);
  EXPECT_LT(told[0].scan * 256 + told[0].offset_256, told[1].scan * 256 + told[1].offset_256);
}

TEST_F(LineWatchTest, HoldsADipOpenUntilItsEnd) {
  take({.rise = us(10)}, {.rise = us(11)});
  told.clear();
  take({}, {.fall = us(100)});
  EXPECT_TRUE(told.empty());
  take({}, {.rise = us(150)});
  ASSERT_EQ(told.size(), 1U);
  EXPECT_EQ(told[0].pulse_ns, 50'000U);
}

TEST(EdgeQueueTest, GivesEveryBlockItsOwnEdges) {
  EdgeQueue queue;
  for (const std::uint64_t scan : {5, 31, 32, 70}) queue.push({.line = kLine, .scan = scan});
  ScanBlock block{};
  queue.fill(block, 32);
  ASSERT_EQ(block.edge_count, 2U);
  EXPECT_EQ(block.edges[1].scan, 31U);
  ScanBlock later{.first_scan = 64, .scans_lost = 32};
  queue.fill(later, 96);
  ASSERT_EQ(later.edge_count, 2U);
  EXPECT_EQ(later.edges[0].scan, 64U) << "of a block that was given up: no earlier than the one that carries it";
  EXPECT_EQ(later.edges[1].scan, 70U);
}

TEST(EdgeQueueTest, CountsWhatItCannotHold) {
  EdgeQueue queue;
  for (std::uint64_t k = 0; k < 40; ++k) queue.push({.line = kLine, .scan = k});
  EXPECT_EQ(queue.dropped(), 8U);
}

}  // namespace
}  // namespace firmware::chip
