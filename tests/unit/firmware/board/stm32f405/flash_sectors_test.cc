// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/flash_sectors.h"

#include <gtest/gtest.h>

#include <vector>

namespace firmware::chip {
namespace {

constexpr std::uint32_t kBusy = 1U << 16;
constexpr std::uint32_t kLock = 1U << 31;
constexpr std::uint32_t kStart = 1U << 16;

/// Locked until both keys have come in order; busy for some reads after each start; erases what is asked for.
class FlashSectorsTest : public ::testing::Test {
 protected:
  FlashSectorsTest() : words{std::vector<std::uint32_t>(kSectorWords, 0), std::vector<std::uint32_t>(kSectorWords, 0)} {
    registers.CR.value = kLock;
    registers.KEYR.on_write = [this](std::uint32_t key) {
      keys.push_back(key);
      if (keys.size() >= 2 && keys[keys.size() - 2] == 0x45670123 && key == 0xCDEF89AB) registers.CR.value &= ~kLock;
      return 0U;
    };
    registers.SR.on_read = [this](std::uint32_t held) {
      if (busy_reads == 0) return held;
      --busy_reads;
      return held | kBusy;
    };
    registers.SR.on_write = [this](std::uint32_t cleared) { return registers.SR.value & ~cleared; };
    registers.CR.on_write = [this](std::uint32_t written) {
      const bool erase = (written & kStart) != 0 && (written & 2) != 0;
      if (erase) {
        busy_reads = 100;
        const std::size_t sector = (written >> 3 & 0xF) - 1;
        EXPECT_LT(sector, 2U) << "a sector that holds code";
        if (sector < 2) words[sector].assign(kSectorWords, leaves);
        registers.SR.value |= error;
      }
      return written & ~kStart;
    };
  }

  FlashInterface registers;
  std::vector<std::uint32_t> words[2];
  std::vector<std::uint32_t> keys;
  std::uint64_t busy_reads = 0;
  std::uint32_t leaves = kErasedWord;
  std::uint32_t error = 0;
  ChipFlash flash{registers, {words[0].data(), words[1].data()}};
};

TEST_F(FlashSectorsTest, ErasesAndProgramsTheSectorAskedForAndLocksAgain) {
  for (std::size_t sector = 0; sector < 2; ++sector) {
    EXPECT_TRUE(flash.erase(sector));
    EXPECT_EQ(words[sector][5], kErasedWord);
    EXPECT_TRUE(flash.program(sector, 5, 0x12345678));
    EXPECT_EQ(flash.word(sector, 5), 0x12345678U);
    EXPECT_NE(registers.CR.value & kLock, 0U);
  }
}

TEST_F(FlashSectorsTest, SaysSoWhenAnErrorIsRaised) {
  for (const std::uint32_t bit : {1U, 4U, 5U, 6U, 7U}) {  // operation, protection, alignment, parallelism, sequence
    error = 1U << bit;
    EXPECT_FALSE(flash.erase(0)) << "error bit " << bit;
    error = 0;
    EXPECT_TRUE(flash.erase(0)) << "after error bit " << bit << " was cleared";
  }
}

TEST_F(FlashSectorsTest, SaysSoWhenAWordStaysOrTheFlashIsNeverDone) {
  leaves = 0xFFFFFFFE;
  EXPECT_FALSE(flash.erase(1));
  busy_reads = UINT64_MAX;
  EXPECT_FALSE(flash.program(0, 0, 1));
}

TEST_F(FlashSectorsTest, DoesNotWriteWhereTheKeysDoNotOpen) {
  registers.KEYR.on_write = [](std::uint32_t) { return 0U; };
  words[0][0] = kErasedWord;
  EXPECT_FALSE(flash.program(0, 0, 1));
  EXPECT_EQ(words[0][0], kErasedWord);
}

}  // namespace
}  // namespace firmware::chip
