// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/clock_tree.h"

#include <gtest/gtest.h>

#include "firmware/board/stm32f405/watchdog.h"

namespace firmware::chip {
namespace {

constexpr std::uint32_t kHseOn = 1U << 16;
constexpr std::uint32_t kHseReady = 1U << 17;
constexpr std::uint32_t kPllOn = 1U << 24;
constexpr std::uint32_t kPllReady = 1U << 25;

/// Crystal, PLL and switch become ready some reads after they were asked for, or never.
class ClockTreeTest : public ::testing::Test {
 protected:
  ClockTreeTest() {
    rcc.CR.on_read = [this](std::uint32_t held) {
      if ((held & kHseOn) != 0 && ++reads > 50 && crystal) held |= kHseReady;
      if ((held & kPllOn) != 0 && ++reads > 90 && locks) held |= kPllReady;
      return held;
    };
    rcc.CFGR.on_read = [this](std::uint32_t held) { return switches ? held | (held & 3) << 2 : held; };
    flash.ACR.on_write = [this](std::uint32_t written) {
      EXPECT_EQ(rcc.CFGR.value & 3, 0U) << "wait states come before the clock rises";
      return written;
    };
  }

  Rcc rcc;
  Pwr pwr;
  FlashInterface flash;
  bool crystal = true;
  bool locks = true;
  bool switches = true;
  std::uint32_t reads = 0;
};

TEST_F(ClockTreeTest, ReachesItsFrequencies) {
  ASSERT_EQ(start_clocks(rcc, pwr, flash), ClockStart::kRunning);
  // 8 MHz / M x N / P, by the fields of RCC_PLLCFGR.
  const std::uint32_t pll = rcc.PLLCFGR.value;
  EXPECT_EQ(kCrystalHz / (pll & 0x3F) * (pll >> 6 & 0x1FF) / (2 * (pll >> 16 & 3) + 2), kCoreHz);
  EXPECT_NE(pll & 1U << 22, 0U) << "from the crystal";
  EXPECT_EQ(rcc.CFGR.value & 3, 2U);
  EXPECT_EQ(flash.ACR.value & 7, 5U);
  EXPECT_EQ(kApb1TimerHz, 84'000'000U);
  EXPECT_NE(rcc.CR.value & 1U << 19, 0U) << "a crystal that stops is noticed";
}

TEST_F(ClockTreeTest, StaysOnTheInternalOscillatorWithoutACrystal) {
  crystal = false;
  EXPECT_EQ(start_clocks(rcc, pwr, flash), ClockStart::kNoCrystal);
  EXPECT_EQ(rcc.CFGR.value & 3, 0U);
  EXPECT_EQ(rcc.CR.value & kHseOn, 0U);
}

TEST_F(ClockTreeTest, StaysOnTheInternalOscillatorWithoutALock) {
  locks = false;
  EXPECT_EQ(start_clocks(rcc, pwr, flash), ClockStart::kNoLock);
  EXPECT_EQ(rcc.CFGR.value & 3, 0U);
}

TEST_F(ClockTreeTest, GoesBackWhenTheSwitchDoesNotHappen) {
  switches = false;
  EXPECT_EQ(start_clocks(rcc, pwr, flash), ClockStart::kNoSwitch);
  EXPECT_EQ(rcc.CFGR.value & 3, 0U);
}

TEST_F(ClockTreeTest, TellsWhyTheChipWasReset) {
  const auto cause_of = [this](std::uint32_t flags) {
    rcc.CSR.value = flags;
    return take_reset_cause(rcc);
  };
  constexpr std::uint32_t kPin = 1U << 26;
  EXPECT_EQ(cause_of(kPin | 1U << 27 | 1U << 25), 1U);  // power-on, brown-out and pin come together
  EXPECT_EQ(cause_of(kPin), 2U);
  EXPECT_EQ(cause_of(kPin | 1U << 29), 3U);
  EXPECT_EQ(cause_of(kPin | 1U << 28), 4U);
  EXPECT_EQ(cause_of(0), 0U);
  EXPECT_NE(rcc.CSR.value & 1U << 24, 0U) << "cleared for the next one";
}

TEST(WatchdogTest, IsStartedUnlockedSetAndFedInThisOrder) {
  Iwdg registers;
  std::vector<std::uint32_t> keys;
  registers.KR.on_write = [&](std::uint32_t key) {
    keys.push_back(key);
    return 0U;
  };
  IndependentWatchdog watchdog(registers);
  watchdog.begin();
  watchdog.feed();
  EXPECT_EQ(keys, (std::vector<std::uint32_t>{0xCCCC, 0x5555, 0xAAAA, 0xAAAA}));
  // 32 kHz / 4 x 100 ms
  EXPECT_EQ(registers.PR.value, 0U);
  EXPECT_EQ(registers.RLR.value, 32'000U / 4 / 10);
}

}  // namespace
}  // namespace firmware::chip
