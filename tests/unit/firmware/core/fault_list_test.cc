// SPDX-License-Identifier: Apache-2.0
// The fault list: every fault that must end in the safe state, injected into a jig in bench with PS_ON# driven and
// gates on, and what the next status frame says of it. Times are device time, from the last scan at which all was well
// (of an alarm: from the alarm) to the call that switches the gates off; a block is looked at when its last scan is
// there. What needs no code at all (break inputs, gate supply) is tested with the drivers.
#include <gtest/gtest.h>

#include <cstdio>
#include <functional>
#include <string>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

namespace proto = steadyrail::proto;
using testing::JigFixture;
using testing::of_kind;

constexpr std::uint32_t kGate = 2;
constexpr std::size_t kChannel = 10 + kGate;  // of ample_load_bank()
constexpr std::int16_t kIdle = 1000;
constexpr std::int16_t kLevel = 1000;

class FakeWatch : public BoardWatch {
 public:
  Alarm alarm() override { return standing; }
  BoardReadings readings() const override { return read; }

  Alarm standing = Alarm::kNone;
  BoardReadings read{.stack_free_bytes = 1000};
};

/// A bench whose branch draws what its gate says, unless the switch is stuck.
class Bench {
 public:
  Bench() : jig(Mode::kBench, 0, &watch) {
    jig.begin({});
    jig.describe_load_bank(
        [](proto::DescribeLoadBank& bank) { bank.mutable_branches(kGate)->set_on_time_ms_max(1500); });
    proto::HostToJig command;
    command.mutable_drive_ps_on()->set_on(true);
    jig.send(command);
    switch_gate(true);
    play(2);
    EXPECT_TRUE(jig.outputs.ps_on);
    EXPECT_EQ(jig.outputs.gates, 1U << kGate);
    EXPECT_EQ(jig.health().safety_cause, SafetyCause::kNone);
    jig.heard();
  }

  void switch_gate(bool on) {
    proto::HostToJig command;
    auto* step = command.mutable_load_steps()->add_steps();
    step->set_gate(kGate);
    step->set_on(on);
    jig.send(command);
  }
  bool off() const { return jig.outputs.gates == 0 && !jig.outputs.ps_on; }
  std::int16_t code(std::size_t channel) const {
    if (channel == over_range) return 32767;
    const bool draws = stuck || (jig.outputs.gates >> kGate & 1) != 0;
    return static_cast<std::int16_t>(channel == kChannel && draws ? kIdle + kLevel : kIdle);
  }
  void play(std::size_t blocks) {
    for (std::size_t k = 0; k < blocks; ++k) {
      jig.jig().on_block(testing::block_of(jig.health().next_scan,
                                           [this](std::uint64_t, std::size_t channel) { return code(channel); }));
      jig.talk();
    }
  }
  /// Blocks until everything is off, at most so many, the host speaking; scans from `due_scan` to the last one taken.
  std::uint64_t scans_until_off(std::uint64_t due_scan, std::size_t blocks_most, bool host_speaks = true) {
    for (std::size_t k = 0; k < blocks_most && !off(); ++k) {
      if (host_speaks && k % 100 == 0) jig.keep_alive();
      play(1);
    }
    EXPECT_GT(jig.health().next_scan, due_scan) << "switched off before there was a reason";
    return jig.health().next_scan - 1 - due_scan;
  }

  FakeWatch watch;
  JigFixture jig;
  bool stuck = false;
  std::size_t over_range = SIZE_MAX;
};

std::uint64_t raise(Bench& bench, Alarm alarm) {
  bench.watch.standing = alarm;
  bench.jig.jig().on_no_block();  // a board calls it between blocks, at every interrupt
  bench.jig.talk();
  return 0;
}

struct Fault {
  const char* name;
  proto::SafetyCause cause;
  int detail;                                   // -1: none
  std::function<std::uint64_t(Bench&)> inject;  // scans from the fault to gates off
};

std::vector<Fault> faults() {
  return {
      {"host silent for 1,000 ms", proto::SAFETY_CAUSE_HOST_SILENT, -1,
       [](Bench& bench) {
         const std::uint64_t due_scan = bench.jig.health().next_scan + 32000 - 32;  // the first block fills it up
         bench.jig.keep_alive();
         return bench.scans_until_off(due_scan, 1100, false);
       }},
      {"mode link moved while running", proto::SAFETY_CAUSE_MODE_LINK_MOVED, -1,
       [](Bench& bench) {
         bench.jig.outputs.mode = Mode::kObserve;
         return raise(bench, Alarm::kNone);
       }},
      {"mode link taken out", proto::SAFETY_CAUSE_MODE_LINK_MOVED, -1,
       [](Bench& bench) {
         bench.jig.outputs.mode = Mode::kUnknown;
         return raise(bench, Alarm::kNone);
       }},
      {"stuck-on gate: off, and still drawing after 2 ms", proto::SAFETY_CAUSE_LOAD_STUCK_ON, kGate,
       [](Bench& bench) {
         bench.stuck = true;
         bench.switch_gate(false);
         bench.play(1);
         EXPECT_EQ(bench.jig.outputs.gates, 0U);
         EXPECT_TRUE(bench.jig.outputs.ps_on);
         return bench.scans_until_off(bench.jig.outputs.gates_from_scan + 64, 10);
       }},
      {"gate on for longer than it may", proto::SAFETY_CAUSE_ON_TIME_LIMIT, kGate,
       [](Bench& bench) {  // switched off with the last block that ends within the limit
         const std::uint64_t limit_scan = bench.jig.outputs.gates_from_scan + 1500 * 32;
         const std::uint64_t scans = bench.scans_until_off(limit_scan - 32, 1600);
         EXPECT_LE(bench.jig.health().next_scan, limit_scan);
         return scans;
       }},
      {"fan or thermal cut-out", proto::SAFETY_CAUSE_FAN_OR_THERMAL, -1,
       [](Bench& bench) { return raise(bench, Alarm::kFanOrThermal); }},
      {"over-temperature", proto::SAFETY_CAUSE_OVER_TEMPERATURE, -1,
       [](Bench& bench) { return raise(bench, Alarm::kOverTemperature); }},
      {"converter lost", proto::SAFETY_CAUSE_CONVERTER_LOST, -1,
       [](Bench& bench) { return raise(bench, Alarm::kConverterLost); }},
      {"ring overrun", proto::SAFETY_CAUSE_OVERRUN, -1, [](Bench& bench) { return raise(bench, Alarm::kOverrun); }},
      {"programme overtaken by lost scans", proto::SAFETY_CAUSE_OVERRUN, -1,
       [](Bench& bench) {
         bench.switch_gate(false);
         const std::uint64_t after = bench.jig.health().next_scan + 320;
         bench.jig.jig().on_block(
             testing::block_of(after, [&](std::uint64_t, std::size_t channel) { return bench.code(channel); }));
         bench.jig.talk();
         return bench.jig.health().next_scan - 1 - after;
       }},
      {"over-range for 100 ms", proto::SAFETY_CAUSE_OVER_RANGE, 4,
       [](Bench& bench) {
         bench.over_range = 4;
         return bench.scans_until_off(bench.jig.health().next_scan + 3200 - 32, 110);
       }},
      {"stack high-water", proto::SAFETY_CAUSE_STACK, -1,
       [](Bench& bench) {  // read four times a second; the stack's own end faults in hardware
         bench.watch.read.stack_free_bytes = kStackFreeLeastBytes - 1;
         for (int k = 0; k < 260 && !bench.off(); ++k) {
           if (k % 100 == 0) bench.jig.keep_alive();
           raise(bench, Alarm::kNone);
         }
         return std::uint64_t{0};
       }},
  };
}

void print_row(const std::string& fault, const std::string& outcome, const std::string& cause, std::uint64_t scans) {
  std::printf("%-50s %-30s %-32s %6.2f ms\n", fault.c_str(), outcome.c_str(), cause.c_str(),
              static_cast<double>(scans) / 32);
}

TEST(FaultListTest, EveryFaultEndsInTheSafeStateWithItsCauseInTheNextStatus) {
  std::printf("%-50s %-30s %-32s %9s\n", "fault", "outcome", "cause in the next status", "to off");
  for (const Fault& fault : faults()) {
    SCOPED_TRACE(fault.name);
    Bench bench;
    const std::uint64_t scans = fault.inject(bench);
    EXPECT_TRUE(bench.off());
    EXPECT_LT(scans, 32U) << "1 ms";
    const auto statuses = of_kind(bench.jig.heard(), proto::JigToHost::kStatus);
    ASSERT_FALSE(statuses.empty());
    const auto tripped = std::ranges::find_if(
        statuses, [](const auto& message) { return message.status().safety_cause() != proto::SAFETY_CAUSE_NONE; });
    ASSERT_NE(tripped, statuses.end());
    const proto::Status& status = tripped->status();
    EXPECT_EQ(status.safety_cause(), fault.cause);
    EXPECT_EQ(status.has_safety_detail() ? static_cast<int>(status.safety_detail()) : -1, fault.detail);
    EXPECT_EQ(status.gates(), 0U);
    EXPECT_FALSE(status.ps_on_driven());
    print_row(fault.name, bench.off() ? "gates off, PS_ON# released" : "STILL ON",
              proto::SafetyCause_Name(status.safety_cause()), scans);

    // It stands: nothing is driven until Arm, whatever is asked.
    bench.switch_gate(true);
    EXPECT_NE(testing::last_answer(bench.jig.heard()).refusal(), proto::REFUSAL_NONE);
    bench.play(3);
    EXPECT_TRUE(bench.off());
  }
}

struct Reset {
  const char* name;
  std::uint32_t cause;
  bool fault_kept;
};

/// A reset takes everything away by itself: pins float, pull-downs hold (the drivers' tests). What the firmware owes is
/// that it begins switched off, and says why in its Hello and in every status.
TEST(FaultListTest, EveryResetBeginsSwitchedOffAndTellsItsCause) {
  const Reset resets[] = {{"watchdog", proto::RESET_CAUSE_WATCHDOG, false},
                          {"hard fault", proto::RESET_CAUSE_FAULT, true},
                          {"power lost and back", proto::RESET_CAUSE_POWER_ON, false},
                          {"reset pin", proto::RESET_CAUSE_PIN, false}};
  for (const Reset& reset : resets) {
    SCOPED_TRACE(reset.name);
    testing::MemoryLine line;
    testing::MemoryStore store;
    testing::MemoryOutputs outputs;  // as a reset in the middle of a programme finds them: everything on
    outputs.mode = Mode::kBench;
    store.cause = reset.cause;
    FastParts fast;
    if (reset.fault_kept) fast.health.fault = FaultWords{.instruction = 0x0800'C456, .cause = 0x8200};
    SplitJig jig({.transmitter = line,
                  .gates = outputs,
                  .ps_on = outputs,
                  .mode_link = outputs,
                  .watchdog = outputs,
                  .store = store},
                 fast);
    EXPECT_EQ(outputs.gates, 0U);
    EXPECT_FALSE(outputs.ps_on);
    proto::HostToJig command;
    command.set_id(1);
    command.mutable_identify();
    jig.on_byte(wire::kDelimiter);
    for (const std::byte value : testing::framed(command.SerializeAsString())) jig.on_byte(value);
    for (std::uint64_t scan = 0; scan < 33'000; scan += wire::kScansPerBlock) {
      jig.on_block(testing::block_of(scan, [](std::uint64_t, std::size_t) { return std::int16_t{0}; }));
    }
    while (jig.pump()) {
    }
    const auto frames = testing::frames_in(line.bytes);
    const auto hellos = of_kind(frames, proto::JigToHost::kHello);
    const auto statuses = of_kind(frames, proto::JigToHost::kStatus);
    ASSERT_FALSE(hellos.empty() || statuses.empty());
    EXPECT_EQ(hellos[0].hello().reset_cause(), reset.cause);
    EXPECT_EQ(statuses[0].status().reset_cause(), reset.cause);
    EXPECT_EQ(of_kind(frames, proto::JigToHost::kLog).size(), reset.fault_kept ? 4U : 0U) << "the stacked registers";
    print_row(reset.name, "begins switched off", proto::ResetCause_Name(static_cast<proto::ResetCause>(reset.cause)),
              0);
  }
}

/// The watch looks at nothing it must not: a branch that is off and sound, one whose neighbour draws, and noise.
TEST(StuckSwitchTest, LeavesSoundBranchesAlone) {
  Bench bench;
  bench.switch_gate(false);
  for (int k = 0; k < 200; ++k) {
    if (k % 100 == 0) bench.jig.keep_alive();
    bench.play(1);
  }
  EXPECT_EQ(bench.jig.health().safety_cause, SafetyCause::kNone);
  EXPECT_TRUE(bench.jig.outputs.ps_on);
}

/// 5 % of a level of 1,000 codes: 50 above the idle code is off, 51 is not.
TEST(StuckSwitchTest, DrawsTheLineAtFivePerCent) {
  for (const std::int16_t excess : {50, 51}) {
    JigFixture jig(Mode::kBench);
    jig.begin({});
    jig.describe_load_bank();
    jig.play([&](std::uint64_t, std::size_t c) { return static_cast<std::int16_t>(c == 13 ? 1000 + excess : 1000); },
             5);
    EXPECT_EQ(jig.health().safety_cause, excess == 50 ? SafetyCause::kNone : SafetyCause::kLoadStuckOn);
  }
}

/// Two branches on one channel, one on: 1,000 codes and an eighth allowed, and 5 % of the other.
TEST(StuckSwitchTest, TakesOffWhatTheOtherBranchesOfAChannelDraw) {
  for (const std::int16_t code : {2175, 2176}) {
    JigFixture jig(Mode::kBench);
    jig.begin({});
    jig.describe_load_bank([](auto& bank) { bank.mutable_branches(1)->set_channel(10); });
    proto::HostToJig command;
    auto* step = command.mutable_load_steps()->add_steps();
    step->set_gate(0);
    step->set_on(true);
    jig.send(command);
    jig.play([&](std::uint64_t scan, std::size_t c) { return c == 10 && scan >= 32 ? code : std::int16_t{1000}; }, 8);
    EXPECT_EQ(jig.health().safety_cause, code == 2175 ? SafetyCause::kNone : SafetyCause::kLoadStuckOn) << code;
    EXPECT_EQ(jig.health().safety_detail.value_or(0), code == 2175 ? 0 : 1);
  }
}

/// A rail at 0 V reads the low end of its range; that alone is no fault, except where the host says so.
TEST(OverRangeTest, TakesTheLowEndForAFaultOnlyWhereToldTo) {
  for (const bool low_counts : {false, true}) {
    JigFixture jig;
    jig.begin({}, [&](proto::Configure& configure) { configure.set_low_end_mask(low_counts ? 1U << 3 : 0); });
    jig.play([](std::uint64_t, std::size_t c) { return static_cast<std::int16_t>(c <= 3 ? -32768 : 0); }, 120);
    EXPECT_EQ(jig.health().safety_cause, low_counts ? SafetyCause::kOverRange : SafetyCause::kNone);
  }
}

/// One scan within the range in every 100 ms, and it is not for long.
TEST(OverRangeTest, IsForLongOnlyWithoutASingleScanInside) {
  JigFixture jig;
  jig.begin({});
  jig.play([](std::uint64_t scan,
              std::size_t c) { return static_cast<std::int16_t>(c == 9 && scan % 3000 != 0 ? 32767 : 0); },
           400);
  EXPECT_EQ(jig.health().safety_cause, SafetyCause::kNone);
}

}  // namespace
}  // namespace firmware
