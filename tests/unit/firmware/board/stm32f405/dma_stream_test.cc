// SPDX-License-Identifier: Apache-2.0
#include <gtest/gtest.h>

#include "tests/unit/firmware/board/stm32f405/simulated_dma.h"

namespace firmware::chip {
namespace {

using testing::SimulatedDma;

/// Fields of DMA_SxCR as RM0090 has them; by hand.
TEST(DmaStreamTest, SetsUpWhatIsAskedFor) {
  SimulatedDma dma;
  Reg peripheral;
  DmaStream stream(dma.registers, 5);
  ASSERT_TRUE(stream.set_up({.channel = 4,
                             .direction = DmaDirection::kToPeripheral,
                             .width = DmaWidth::kHalfWord,
                             .circular = true,
                             .priority = 2,
                             .interrupt_when_done = true},
                            peripheral));
  std::array<std::uint16_t, 8> memory{};
  stream.start(memory.data(), 8);
  EXPECT_EQ(dma.registers.stream[5].CR.value,
            4U << 25 | 2U << 16 | 1U << 13 | 1U << 11 | 1U << 10 | 1U << 8 | 1U << 6 | 1U << 4 | 1U << 2 | 1U);
  EXPECT_EQ(dma.registers.stream[5].PAR.value, bus_address(&peripheral));
  EXPECT_EQ(dma.registers.stream[5].M0AR.value, bus_address(memory.data()));
  EXPECT_EQ(stream.left(), 8U);
  EXPECT_TRUE(stream.running());
}

TEST(DmaStreamTest, ReadsAndClearsItsOwnFlagsOnly) {
  for (std::uint32_t number = 0; number < 8; ++number) {
    SimulatedDma dma;
    for (std::uint32_t other = 0; other < 8; ++other) dma.raise(other, DmaStream::kHalfDone);
    DmaStream stream(dma.registers, number);
    dma.raise(number, DmaStream::kTransferError);
    EXPECT_EQ(stream.flags(), DmaStream::kHalfDone | DmaStream::kTransferError) << number;
    stream.clear(DmaStream::kHalfDone | DmaStream::kTransferError);
    EXPECT_EQ(stream.flags(), 0U);
    for (std::uint32_t other = 0; other < 8; ++other) {
      if (other == number) continue;
      EXPECT_EQ(DmaStream(dma.registers, other).flags(), DmaStream::kHalfDone);
    }
  }
}

TEST(DmaStreamTest, SaysSoWhenAStreamDoesNotStop) {
  SimulatedDma dma;
  Reg peripheral;
  dma.registers.stream[2].CR.on_read = [](std::uint32_t held) { return held | 1U; };
  EXPECT_FALSE(DmaStream(dma.registers, 2).set_up({}, peripheral));
}

}  // namespace
}  // namespace firmware::chip
