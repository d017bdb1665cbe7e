// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/load_gates.h"

#include <gtest/gtest.h>

#include <vector>

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

  /// The counters as they stand `ticks` of 0.25 us into a scan.
  void at_scan(std::uint64_t scan, std::uint32_t ticks = 0) {
    tim1.CNT.value = tim8.CNT.value = static_cast<std::uint16_t>(scan * kGateTicksPerScan + ticks);
  }
  void load(std::uint64_t scan, std::uint32_t to, std::uint8_t offset_256 = 0) {
    EXPECT_TRUE(gates.queue_edge({.scan = scan, .offset_256 = offset_256, .gates = to}));
  }
  /// The readout interrupt, 5 us into the scan.
  void interrupt(std::uint64_t scan) {
    at_scan(scan, 20);
    gates.on_scan(static_cast<std::uint16_t>(scan));
  }

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

TEST_F(GateTimersTest, LoadsAnEdgeInTheInterruptBeforeIt) {
  load(70'064, 0b1000'0001, 128);
  EXPECT_TRUE(outputs_enabled());
  interrupt(70'062);
  EXPECT_EQ(mode(0), kOffNow) << "1.5 scans after the next one begins: not yet";
  interrupt(70'063);
  EXPECT_EQ(mode(0), kOffNow) << "later than 0.4 scans into the next one";
  interrupt(70'064);
  EXPECT_EQ(mode(0), kOnAtMatch);
  EXPECT_EQ(mode(7), kOnAtMatch);
  EXPECT_EQ(tim1.CCR[0].value, (70'064U * 125 + 62) % 65'536);
  EXPECT_EQ(tim8.CCR[3].value, (70'064U * 125 + 62) % 65'536);
  for (std::uint32_t gate = 1; gate < 7; ++gate) EXPECT_EQ(mode(gate), kOffNow) << gate;
  load(70'132, 0b1000'0000);
  interrupt(70'131);
  EXPECT_EQ(mode(0), kOffAtMatch);
  EXPECT_EQ(mode(7), kOnAtMatch) << "stays as it is";
}

/// The compare unit as RM0090 describes it, tick by tick: what the gate's pin does under a programme of 10 kHz.
TEST_F(GateTimersTest, DrivesTenKilohertzToTheTickWhereTheEdgesWereLoaded) {
  constexpr std::uint64_t kFirstScan = 65'500;  // the counter and the scan's low bits wrap on the way
  std::vector<std::uint64_t> wanted;
  std::vector<std::uint64_t> seen;
  bool level = false;
  std::uint64_t next_256 = (kFirstScan + 40) * 256;
  bool on = false;
  const auto load_ahead = [&](std::uint64_t scan) {
    while (next_256 < (scan + 32) * 256) {
      on = !on;
      load(next_256 / 256, on ? 0b100 : 0, static_cast<std::uint8_t>(next_256 % 256));
      wanted.push_back(next_256 / 256 * 125 + next_256 % 256 * 125 / 256);
      next_256 += on ? 328 : 491;  // 40 us on, the shortest there is, and 60 us off: 819 of 256 a scan are 100 us
    }
  };
  for (std::uint64_t scan = kFirstScan; scan < kFirstScan + 400; ++scan) {
    if ((scan - kFirstScan) % 32 == 0) load_ahead(scan + 32);
    for (std::uint32_t tick = 0; tick < kGateTicksPerScan; ++tick) {
      const std::uint64_t now = scan * kGateTicksPerScan + tick;
      at_scan(scan, tick);
      if (tick == 24) gates.on_scan(static_cast<std::uint16_t>(scan));  // 6 us: the interrupt's other work done
      const bool match = tim1.CCR[2].value == now % 65'536;
      const OutputMode now_mode = mode(2);
      const bool to = now_mode == kOnNow || (now_mode == kOnAtMatch && match) ||
                      (level && now_mode != kOffNow && !(now_mode == kOffAtMatch && match));
      if (to != level) seen.push_back(now);
      level = to;
    }
  }
  ASSERT_GT(seen.size(), 200U);
  wanted.resize(seen.size());
  EXPECT_EQ(seen, wanted);
}

TEST_F(GateTimersTest, SwitchesAtOnceWhereTheTimeHasPassed) {
  load(1000, 0b10);
  load(1000, 0, 200);
  at_scan(1001, 20);
  gates.on_scan(1001);
  EXPECT_EQ(mode(1), kOffNow) << "both are late: the last one counts";
  load(1003, 0b10, 25);  // 12 ticks into the scan
  at_scan(1003, 30);
  gates.on_scan(1003);
  EXPECT_EQ(mode(1), kOnNow);
}

TEST_F(GateTimersTest, SwitchesAllOffAtOnceAndForgetsWhatWasLoaded) {
  load(1064, 0xFF);
  interrupt(1063);
  load(1070, 0x0F);
  gates.switch_off();
  for (std::uint32_t gate = 0; gate < 8; ++gate) EXPECT_EQ(mode(gate), kOffNow) << gate;
  interrupt(1070);
  for (std::uint32_t gate = 0; gate < 8; ++gate) EXPECT_EQ(mode(gate), kOffNow) << gate;
}

TEST_F(GateTimersTest, TakesNoMoreEdgesThanItHolds) {
  std::uint64_t taken = 0;
  while (taken < 1000 && gates.queue_edge({.scan = 100 + taken, .gates = taken % 2 == 0 ? 1U : 0U})) ++taken;
  EXPECT_EQ(taken, 192U);
  interrupt(99);
  load(100 + taken, 1);
}

TEST_F(GateTimersTest, StaysOffAfterABreakUntilAskedAnewAndNeverWhileItLasts) {
  load(1001, 1);
  interrupt(1000);
  break_now();
  EXPECT_TRUE(gates.broken());
  EXPECT_FALSE(outputs_enabled());
  load(1003, 3);
  EXPECT_FALSE(outputs_enabled()) << "the break lasts";
  gates.switch_off();
  break_active = false;
  EXPECT_TRUE(gates.broken()) << "remembered";
  EXPECT_FALSE(outputs_enabled()) << "nobody asked";
  load(1005, 1);
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
  load(1001, 1);
  EXPECT_EQ(edges(), 10) << "before the edge: the supply needs its time";
  interrupt(1000);
  EXPECT_EQ(edges(), 10);
  break_now();
  EXPECT_EQ(edges(), 0);
  break_active = false;
  gates.switch_off();
  EXPECT_EQ(edges(), 0);
}

}  // namespace
}  // namespace firmware::chip
