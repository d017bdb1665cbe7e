// SPDX-License-Identifier: Apache-2.0
// What a board notices by itself: every alarm ends in the safe state, with its cause in the next status.
#include <gtest/gtest.h>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

namespace proto = steadyrail::proto;
using testing::of_kind;

class FakeWatch : public BoardWatch {
 public:
  Alarm alarm() override { return standing; }
  BoardReadings readings() const override { return read; }

  Alarm standing = Alarm::kNone;
  BoardReadings read{.temperature_mk = 41'500, .supply_mv = 4980, .stack_free_bytes = 1234};
};

class BoardWatchTest : public ::testing::Test {
 protected:
  void begin(Mode mode) {
    outputs.mode = mode;
    jig = std::make_unique<Jig>(Board{.transmitter = line,
                                      .gates = outputs,
                                      .ps_on = outputs,
                                      .mode_link = outputs,
                                      .watchdog = outputs,
                                      .store = store,
                                      .watch = &watch});
    send([](auto& command) { command.mutable_identify(); });
    send([](auto& command) {
      command.mutable_configure()->set_scans_per_window(32);
      command.mutable_configure()->set_line_bytes_per_s(200000);
    });
    send([](auto& command) { command.mutable_arm()->set_set(1); });
    send([](auto& command) { command.mutable_start(); });
    block();
  }

  template <typename Fill>
  void send(Fill fill) {
    proto::HostToJig command;
    command.set_id(++id);
    fill(command);
    jig->on_byte(std::byte{0});
    for (const std::byte value : testing::framed(command.SerializeAsString())) jig->on_byte(value);
    talk();
  }
  void talk() {
    while (jig->pump()) {
    }
  }
  void block() {
    jig->on_block(testing::block_of(scan, [](std::uint64_t, std::size_t) { return std::int16_t{0}; }));
    scan += wire::kScansPerBlock;
    talk();
  }
  void switch_on() {
    send([](auto& command) { *command.mutable_describe_load_bank() = testing::ample_load_bank(); });
    send([](auto& command) { command.mutable_drive_ps_on()->set_on(true); });
    send([](auto& command) {
      auto* step = command.mutable_load_steps()->add_steps();
      step->set_gate(2);
      step->set_on(true);
    });
    block();
    ASSERT_TRUE(outputs.ps_on);
    ASSERT_EQ(outputs.gates, 1U << 2);
  }
  std::vector<proto::JigToHost> heard(proto::JigToHost::ContentCase kind) {
    const auto messages = of_kind(testing::frames_in(line.bytes), kind);
    line.bytes.clear();
    return messages;
  }

  testing::MemoryLine line;
  testing::MemoryStore store;
  testing::MemoryOutputs outputs;
  FakeWatch watch;
  std::unique_ptr<Jig> jig;
  std::uint64_t scan = 0;
  std::uint32_t id = 0;
};

constexpr Alarm kAlarms[] = {Alarm::kOverTemperature, Alarm::kFanOrThermal, Alarm::kConverterLost, Alarm::kOverrun};

TEST_F(BoardWatchTest, EveryAlarmSwitchesEverythingOffWithinTheBlock) {
  for (const Alarm alarm : kAlarms) {
    scan = 0;
    watch.standing = Alarm::kNone;
    begin(Mode::kBench);
    switch_on();
    line.bytes.clear();
    watch.standing = alarm;
    block();  // 1 ms of device time
    EXPECT_FALSE(outputs.ps_on);
    EXPECT_EQ(outputs.gates, 0U);
    const auto status = heard(proto::JigToHost::kStatus);
    ASSERT_FALSE(status.empty());
    EXPECT_EQ(status[0].status().safety_cause(), static_cast<int>(alarm));
    EXPECT_FALSE(status[0].status().ps_on_driven());
    EXPECT_EQ(status[0].status().gates(), 0U);
  }
}

TEST_F(BoardWatchTest, TellsAnAlarmBesideAPcToo) {
  begin(Mode::kObserve);
  line.bytes.clear();
  watch.standing = Alarm::kOverTemperature;
  block();
  const auto status = heard(proto::JigToHost::kStatus);
  ASSERT_FALSE(status.empty());
  EXPECT_EQ(status[0].status().safety_cause(), proto::SAFETY_CAUSE_OVER_TEMPERATURE);
  EXPECT_TRUE(status[0].status().running()) << "watching goes on";
}

/// With an alarm standing Arm lets nothing go: the next block brings the cause back before a gate can be on.
TEST_F(BoardWatchTest, ArmDoesNotOutlastAnAlarmThatStands) {
  begin(Mode::kBench);
  switch_on();
  watch.standing = Alarm::kFanOrThermal;
  block();
  send([](auto& command) { command.mutable_stop(); });
  send([](auto& command) { command.mutable_arm()->set_set(1); });
  block();
  line.bytes.clear();
  send([](auto& command) { command.mutable_drive_ps_on()->set_on(true); });
  EXPECT_EQ(heard(proto::JigToHost::kAcknowledgement).at(0).acknowledgement().refusal(), proto::REFUSAL_SAFETY);
  EXPECT_FALSE(outputs.ps_on);
}

TEST_F(BoardWatchTest, SeesAnAlarmWhileNoBlocksCome) {
  begin(Mode::kBench);
  switch_on();
  const std::uint32_t fed = outputs.feeds;
  line.bytes.clear();
  watch.standing = Alarm::kConverterLost;
  jig->on_no_block();
  talk();
  EXPECT_FALSE(outputs.ps_on);
  EXPECT_EQ(outputs.gates, 0U);
  EXPECT_GT(outputs.feeds, fed);
  EXPECT_EQ(heard(proto::JigToHost::kStatus).at(0).status().safety_cause(), proto::SAFETY_CAUSE_CONVERTER_LOST);
}

TEST_F(BoardWatchTest, ReadingsStandInTheStatus) {
  begin(Mode::kObserve);
  line.bytes.clear();
  for (int k = 0; k < 2000; ++k) {
    if (k % 500 == 0) send([](auto& command) { command.mutable_keep_alive(); });
    block();
  }
  const auto status = heard(proto::JigToHost::kStatus);
  ASSERT_FALSE(status.empty());
  EXPECT_EQ(status.back().status().temperature_mk(), 41'500);
  EXPECT_EQ(status.back().status().supply_mv(), 4980U);
  EXPECT_EQ(status.back().status().stack_free_bytes(), 1234U);
}

TEST_F(BoardWatchTest, TellsTheFaultOfTheBootBeforeToWhoeverAsksWhoIsThere) {
  FastParts fast;
  fast.health.fault =
      FaultWords{.instruction = 0x0800C456, .return_to = 0x0800C123, .cause = 0x8200, .address = 0x60000000};
  SplitJig split({.transmitter = line,
                  .gates = outputs,
                  .ps_on = outputs,
                  .mode_link = outputs,
                  .watchdog = outputs,
                  .store = store},
                 fast);
  for (std::uint32_t round = 1; round <= 2; ++round) {
    line.bytes.clear();
    proto::HostToJig command;
    command.set_id(round);
    command.mutable_identify();
    split.on_byte(std::byte{0});
    for (const std::byte value : testing::framed(command.SerializeAsString())) split.on_byte(value);
    while (split.pump()) {
    }
    const auto logs = heard(proto::JigToHost::kLog);
    ASSERT_EQ(logs.size(), 4U);
    EXPECT_EQ(logs[0].log().code(), kLogFaultInstruction);
    EXPECT_EQ(static_cast<std::uint32_t>(logs[0].log().value()), 0x0800C456U);
    EXPECT_EQ(static_cast<std::uint32_t>(logs[1].log().value()), 0x0800C123U);
    EXPECT_EQ(static_cast<std::uint32_t>(logs[2].log().value()), 0x8200U);
    EXPECT_EQ(static_cast<std::uint32_t>(logs[3].log().value()), 0x60000000U);
  }
}

}  // namespace
}  // namespace firmware
