// SPDX-License-Identifier: Apache-2.0
// Three converters on stand-in registers: what arrives must be the scans that were converted, at their place, or be
// told as lost. Nothing here has run on a chip.
#include <gtest/gtest.h>

#include "tests/unit/firmware/board/stm32f405/simulated_converters.h"

namespace firmware::chip {
namespace {

using testing::ScanBench;
using testing::Trouble;

/// Different at every scan and channel, over the whole range.
std::int16_t code_of(std::uint64_t scan, std::size_t channel) {
  return static_cast<std::int16_t>((scan * 24 + channel) * 40503U);
}

class ScanReaderTest : public ::testing::Test {
 protected:
  ScanReaderTest() { EXPECT_TRUE(bench.reader().begin()); }

  /// Lets scans go by and takes blocks as the main loop does; every block must be what was converted.
  void run(std::uint64_t scans) {
    for (std::uint64_t s = 0; s < scans; ++s) {
      bench.scans(1);
      take();
    }
  }

  void take() {
    while (const ScanBlock* block = bench.reader().take_block()) {
      EXPECT_EQ(block->first_scan, next_scan + block->scans_lost);
      lost += block->scans_lost;
      next_scan = block->first_scan + wire::kScansPerBlock;
      ++blocks;
      for (std::size_t s = 0; s < wire::kScansPerBlock; ++s) {
        for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
          ASSERT_EQ(block->codes[s][c], code_of(block->first_scan + s, c))
              << "scan " << block->first_scan + s << ", " << c;
        }
      }
    }
  }

  ScanBench bench{code_of};
  std::uint64_t next_scan = 0;
  std::uint64_t lost = 0;
  std::uint64_t blocks = 0;
};

TEST_F(ScanReaderTest, GivesEveryScanInItsChannels) {
  run(3201);
  EXPECT_EQ(blocks, 100U);
  EXPECT_EQ(lost, 0U);
}

TEST_F(ScanReaderTest, KeepsCountOverTheWrapOfTheHardwareCounter) {
  run(70'001);
  EXPECT_EQ(lost, 0U);
  EXPECT_EQ(next_scan, 70'001U / 32 * 32);
}

TEST_F(ScanReaderTest, WaitsForAMainLoopThreeBlocksLate) {
  bench.scans(3 * 32 + 31);
  take();
  EXPECT_EQ(blocks, 3U);
  EXPECT_EQ(lost, 0U);
  run(320);
  EXPECT_EQ(lost, 0U);
}

TEST_F(ScanReaderTest, TellsBlocksThatTheMainLoopCameTooLateFor) {
  bench.scans(10 * 32 + 1);
  take();
  EXPECT_EQ(blocks, 3U);
  EXPECT_EQ(lost, 7U * 32);
  EXPECT_EQ(bench.reader().faults().taken_late, 7U);
  run(320);
  EXPECT_EQ(lost, 7U * 32);
}

/// Each trouble on each converter once: counted where it belongs, some blocks lost, then everything in step again.
TEST_F(ScanReaderTest, GetsBackInStepAfterEveryTrouble) {
  struct Case {
    Trouble trouble;
    std::array<std::uint32_t, kConverters> ReadoutFaults::* counter;
  };
  const Case cases[] = {
      {Trouble::kUnfinished, &ReadoutFaults::unfinished},  {Trouble::kLostWord, &ReadoutFaults::out_of_step},
      {Trouble::kSpiOverrun, &ReadoutFaults::overrun},     {Trouble::kDmaError, &ReadoutFaults::overrun},
      {Trouble::kSlippedBit, &ReadoutFaults::wrong_frame}, {Trouble::kOtherChannel, &ReadoutFaults::wrong_frame}};
  run(1000);
  for (const Case& here : cases) {
    for (std::size_t k = 0; k < kConverters; ++k) {
      const std::uint32_t counted = (bench.reader().faults().*here.counter)[k];
      const std::uint64_t lost_before = lost;
      bench.converter(k).trouble = here.trouble;
      run(640);
      EXPECT_EQ((bench.reader().faults().*here.counter)[k], counted + 1)
          << static_cast<int>(here.trouble) << " at " << k;
      EXPECT_GT(lost, lost_before);
      EXPECT_LE(lost, lost_before + 160) << "more lost than the block at fault and those on their way";
    }
  }
}

TEST_F(ScanReaderTest, DistrustsAStreamThatSaysTheOtherHalfIsFull) {
  run(50);  // into the second block: the next border is the half
  bench.converter(1).trouble = Trouble::kWrongHalf;
  bench.converter(1).lasts = true;
  run(32);
  bench.converter(1).lasts = false;
  bench.converter(1).trouble = Trouble::kNone;
  EXPECT_EQ(bench.reader().faults().out_of_step[1], 1U);
  run(640);
  EXPECT_GT(lost, 0U);
  EXPECT_EQ(bench.reader().faults().out_of_step[1], 1U);
}

TEST_F(ScanReaderTest, TellsScansWhoseInterruptCameTooLate) {
  run(1000);
  bench.miss_interrupts(3);
  run(640);
  EXPECT_EQ(bench.reader().faults().interrupt_late, 3U);
  EXPECT_GE(lost, 3U);
  EXPECT_LE(lost, 160U);
}

TEST_F(ScanReaderTest, SaysWhichConverterIsLost) {
  bench.converter(2).trouble = Trouble::kOtherChannel;
  bench.converter(2).lasts = true;
  run(20'000);
  EXPECT_EQ(blocks, 0U);
  EXPECT_EQ(bench.reader().lost_converters(), 1U << 2);
  bench.converter(2).lasts = false;
  bench.converter(2).trouble = Trouble::kNone;
  run(640);
  EXPECT_GT(blocks, 0U);
  EXPECT_EQ(bench.reader().lost_converters(), 0U);
}

TEST_F(ScanReaderTest, SaysThatAConverterThatNeverFinishesIsLost) {
  bench.converter(0).trouble = Trouble::kUnfinished;
  bench.converter(0).lasts = true;
  run(20'000);
  EXPECT_EQ(bench.reader().lost_converters(), 1U << 0);
}

TEST(ScanReaderStartTest, SaysSoWhenAStreamDoesNotStop) {
  ScanBench bench(code_of);
  bench.converter(1).stuck = true;
  EXPECT_FALSE(bench.reader().begin());
}

}  // namespace
}  // namespace firmware::chip
