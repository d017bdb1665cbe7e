// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/load_gates.h"

#include <gtest/gtest.h>

namespace firmware::chip {
namespace {

constexpr std::uint32_t kMainOutput = 1U << 15;
constexpr std::uint32_t kBreakFlag = 1U << 7;
constexpr std::uint32_t kPumpPin = 10;

// Modes of a compare output in CCMR (RM0090, from memory).
enum OutputMode : std::uint32_t { kOnAtMatch = 1, kOffAtMatch = 2, kOffNow = 4, kOnNow = 5 };

class GateTimersTest : public ::testing::Test {
 protected:
  GateTimersTest() {
    // The flag is cleared by writing 0, but not while the break input is active; the output enable likewise.
    for (Timer* timer : {&tim1, &tim8}) {
      timer->SR.on_write = [this, timer](std::uint32_t written) {
        return (timer->SR.value & written) | (break_active ? kBreakFlag : 0);
      };
      timer->BDTR.on_write = [this](std::uint32_t written) { return break_active ? written & ~kMainOutput : written; };
    }
    port.BSRR.on_write = [this](std::uint32_t written) {
      if ((written >> kPumpPin & 1) != 0) pump = true;
      if ((written >> (kPumpPin + 16) & 1) != 0) pump = false;
      return 0U;
    };
    gates.begin();
  }

  void at_scan(std::uint64_t scan) { tim1.CNT.value = tim8.CNT.value = static_cast<std::uint16_t>(scan); }

  OutputMode mode(std::uint32_t gate) {
    const Timer& timer = gate < 4 ? tim1 : tim8;
    return static_cast<OutputMode>(timer.CCMR[gate % 4 / 2].value >> (gate % 2 * 8 + 4) & 7);
  }
  bool outputs_enabled() { return (tim1.BDTR.value & tim8.BDTR.value & kMainOutput) != 0; }

  void break_now() {
    break_active = true;
    for (Timer* timer : {&tim1, &tim8}) {
      timer->SR.value |= kBreakFlag;
      timer->BDTR.value &= ~kMainOutput;  // the hardware does this without clock or code
    }
  }

  Timer tim1, tim8;
  Gpio port;
  bool break_active = false;
  bool pump = false;
  GateTimers gates{{&tim1, &tim8}, port, kPumpPin};
};

TEST_F(GateTimersTest, BeginsWithEverythingOff) {
  for (std::uint32_t gate = 0; gate < 8; ++gate) EXPECT_EQ(mode(gate), kOffNow);
  EXPECT_FALSE(outputs_enabled());
  EXPECT_NE(tim1.BDTR.value & 1U << 12, 0U) << "break input on";
  EXPECT_EQ(tim1.BDTR.value & 1U << 13, 0U) << "break input active low: a broken wire is a break";
  EXPECT_EQ(tim1.BDTR.value & 1U << 14, 0U) << "outputs do not come back by themselves";
}

TEST_F(GateTimersTest, LoadsAnEdgeForItsScan) {
  at_scan(70'000);
  gates.set(0b1000'0001, 70'064);
  EXPECT_TRUE(outputs_enabled());
  EXPECT_EQ(mode(0), kOnAtMatch);
  EXPECT_EQ(mode(7), kOnAtMatch);
  EXPECT_EQ(tim1.CCR[0].value, 70'064U % 65'536);
  EXPECT_EQ(tim8.CCR[3].value, 70'064U % 65'536);
  for (std::uint32_t gate = 1; gate < 7; ++gate) EXPECT_EQ(mode(gate), kOffNow) << gate;
  at_scan(70'100);
  gates.set(0b1000'0000, 70'132);
  EXPECT_EQ(mode(0), kOffAtMatch);
  EXPECT_EQ(mode(7), kOnAtMatch) << "stays as it is";
}

TEST_F(GateTimersTest, LoadsAnEdgeAcrossTheWrapOfTheCounter) {
  at_scan(65'530);
  gates.set(1, 65'560);
  EXPECT_EQ(mode(0), kOnAtMatch);
  EXPECT_EQ(tim1.CCR[0].value, 24U);
}

TEST_F(GateTimersTest, SwitchesAtOnceWhereTheScanHasBegun) {
  at_scan(1000);
  for (const std::uint64_t scan : {0ULL, 999ULL, 1000ULL, 1001ULL}) {
    gates.set(0, 0);
    gates.set(0b10, scan);
    EXPECT_EQ(mode(1), kOnNow) << scan;
  }
}

TEST_F(GateTimersTest, SwitchesAllOffAtOnceWhateverWasLoaded) {
  at_scan(1000);
  gates.set(0xFF, 1064);
  gates.set(0, 5000);
  for (std::uint32_t gate = 0; gate < 8; ++gate) EXPECT_EQ(mode(gate), kOffNow) << gate;
}

TEST_F(GateTimersTest, SwitchesOffInsteadOfLoadingTheFarFuture) {
  at_scan(1000);
  gates.set(1, 1000 + 32'500);
  EXPECT_EQ(mode(0), kOffNow);
}

TEST_F(GateTimersTest, StaysOffAfterABreakUntilAskedAnewAndNeverWhileItLasts) {
  at_scan(1000);
  gates.set(1, 1000);
  break_now();
  EXPECT_TRUE(gates.broken());
  EXPECT_FALSE(outputs_enabled());
  gates.set(3, 1000);
  EXPECT_FALSE(outputs_enabled()) << "the break lasts";
  gates.set(0, 0);
  break_active = false;
  EXPECT_TRUE(gates.broken()) << "remembered";
  EXPECT_FALSE(outputs_enabled()) << "nobody asked";
  gates.set(1, 1000);
  EXPECT_TRUE(outputs_enabled());
  EXPECT_FALSE(gates.broken());
}

/// The gate supply needs an edge a block; it must fall away when no gate is wanted, and when a break is on.
TEST_F(GateTimersTest, PumpsTheGateSupplyOnlyWhileAGateIsWanted) {
  const auto edges = [this] {
    int count = 0;
    for (int block = 0; block < 10; ++block) {
      const bool before = pump;
      gates.keep_supplied();
      if (pump != before) ++count;
    }
    return count;
  };
  EXPECT_EQ(edges(), 0);
  gates.set(1, 0);
  EXPECT_EQ(edges(), 10);
  break_now();
  EXPECT_EQ(edges(), 0);
  break_active = false;
  gates.set(0, 0);
  EXPECT_EQ(edges(), 0);
}

}  // namespace
}  // namespace firmware::chip
