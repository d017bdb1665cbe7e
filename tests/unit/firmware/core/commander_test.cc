// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/commander.h"

#include <gtest/gtest.h>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

using testing::events_of;
using testing::HeardFrame;
using testing::JigFixture;
using testing::last_answer;
using testing::low_limit;
using testing::of_kind;
namespace proto = steadyrail::proto;

std::int16_t quiet(std::uint64_t, std::size_t) {
  return 1000;
}

proto::Acknowledgement answer_to(JigFixture& jig, const proto::HostToJig& command) {
  jig.send(command);
  return last_answer(jig.heard());
}

proto::HostToJig load_steps(std::uint32_t gate, bool on, std::uint32_t after_us = 0) {
  proto::HostToJig command;
  auto* step = command.mutable_load_steps()->add_steps();
  step->set_gate(gate);
  step->set_on(on);
  step->set_after_us(after_us);
  return command;
}

proto::HostToJig drive_ps_on(bool on) {
  proto::HostToJig command;
  command.mutable_drive_ps_on()->set_on(on);
  return command;
}

TEST(CommanderTest, AnswersIdentifyWithTheAcknowledgementAndHello) {
  JigFixture jig(Mode::kBench);
  jig.identify();
  const auto frames = jig.heard();
  ASSERT_EQ(frames.size(), 2U);
  EXPECT_EQ(frames[0].message.acknowledgement().id(), 1U);
  const proto::Hello& hello = frames[1].message.hello();
  EXPECT_EQ(hello.protocol_version(), 1U);
  EXPECT_EQ(hello.jig_id(), "J-01");
  EXPECT_EQ(hello.mode(), proto::JIG_MODE_BENCH);
  EXPECT_EQ(hello.scan_rate_hz(), 32000U);
  EXPECT_EQ(hello.channel_names_size(), 24);
  EXPECT_EQ(hello.reset_cause(), 3U);
  EXPECT_TRUE(hello.simulated());
  EXPECT_EQ(frames[1].message.boot(), 7U);
}

TEST(CommanderTest, AnswersARepeatAgainWithoutDoingItAgain) {
  JigFixture jig;
  jig.configure();
  jig.start();
  jig.heard();
  jig.play(quiet, 40);
  proto::HostToJig stop;
  stop.mutable_stop();
  stop.set_id(90);
  const proto::Acknowledgement first = answer_to(jig, stop);
  EXPECT_EQ(first.refusal(), proto::REFUSAL_NONE);
  const proto::Acknowledgement again = answer_to(jig, stop);
  EXPECT_EQ(again.SerializeAsString(), first.SerializeAsString());
  stop.set_id(91);  // a new one is done anew, and there is nothing left to stop
  EXPECT_EQ(answer_to(jig, stop).refusal(), proto::REFUSAL_NOT_RUNNING);
}

TEST(CommanderTest, TakesAnEqualIdWithAnotherContentForANewCommand) {
  JigFixture jig;
  jig.configure();
  proto::HostToJig start;
  start.mutable_start();
  start.set_id(jig.last_id);
  EXPECT_EQ(answer_to(jig, start).refusal(), proto::REFUSAL_NONE);
  EXPECT_TRUE(jig.health().running);
}

TEST(CommanderTest, ForgetsThePreviousHostWhenAnotherIdentifies) {
  JigFixture jig;
  jig.configure();
  jig.start();
  jig.stop();
  const std::uint32_t start_id = jig.last_id - 1;
  jig.identify();
  proto::HostToJig start;
  start.mutable_start();
  start.set_id(start_id);
  EXPECT_EQ(answer_to(jig, start).refusal(), proto::REFUSAL_NONE);
  EXPECT_TRUE(jig.health().running);
}

TEST(CommanderTest, RefusesToDriveAnythingBesideAPc) {
  JigFixture jig(Mode::kObserve);
  jig.configure();
  EXPECT_EQ(answer_to(jig, load_steps(0, true)).refusal(), proto::REFUSAL_WRONG_MODE);
  EXPECT_EQ(answer_to(jig, drive_ps_on(true)).refusal(), proto::REFUSAL_WRONG_MODE);
  jig.play(quiet, 2);
  EXPECT_EQ(jig.outputs.gates, 0U);
  EXPECT_FALSE(jig.outputs.ps_on);
}

TEST(CommanderTest, RefusesWhatTheStateForbids) {
  JigFixture jig(Mode::kBench);
  proto::HostToJig start;
  start.mutable_start();
  EXPECT_EQ(answer_to(jig, start).refusal(), proto::REFUSAL_NOT_CONFIGURED);
  proto::HostToJig arm;
  arm.mutable_arm()->set_set(1);
  EXPECT_EQ(answer_to(jig, arm).refusal(), proto::REFUSAL_NOT_CONFIGURED);
  EXPECT_EQ(answer_to(jig, load_steps(0, true)).refusal(), proto::REFUSAL_NOT_CONFIGURED);
  proto::HostToJig raw;
  raw.mutable_stream_raw()->set_channel_mask(1);
  EXPECT_EQ(answer_to(jig, raw).refusal(), proto::REFUSAL_NOT_RUNNING);

  jig.configure();
  EXPECT_EQ(answer_to(jig, start).refusal(), proto::REFUSAL_NONE);
  EXPECT_EQ(answer_to(jig, start).refusal(), proto::REFUSAL_RUNNING);
  EXPECT_EQ(answer_to(jig, arm).refusal(), proto::REFUSAL_RUNNING);
  proto::HostToJig configure;
  configure.mutable_configure()->set_scans_per_window(32);
  EXPECT_EQ(answer_to(jig, configure).refusal(), proto::REFUSAL_RUNNING);
  EXPECT_EQ(answer_to(jig, proto::HostToJig{}).refusal(), proto::REFUSAL_UNKNOWN_COMMAND);
}

proto::HostToJig configuration(const std::function<void(proto::Configure&)>& change) {
  proto::HostToJig command;
  command.mutable_configure()->set_scans_per_window(64);
  command.mutable_configure()->set_line_bytes_per_s(100000);
  change(*command.mutable_configure());
  return command;
}

TEST(CommanderTest, NamesTheFieldThatIsOutOfRange) {
  JigFixture jig;
  const auto field_of = [&](const proto::HostToJig& command) {
    const proto::Acknowledgement answer = answer_to(jig, command);
    EXPECT_EQ(answer.refusal(), proto::REFUSAL_OUT_OF_RANGE);
    return answer.field();
  };
  EXPECT_EQ(field_of(configuration([](auto& c) { c.set_scans_per_window(48); })), 1U);
  EXPECT_EQ(field_of(configuration([](auto& c) { c.set_scans_per_window(512); })), 1U);
  EXPECT_EQ(field_of(configuration([](auto& c) { c.set_line_bytes_per_s(0); })), 2U);
  EXPECT_EQ(field_of(configuration([](auto& c) { c.set_host_silence_ms(10); })), 3U);
  EXPECT_EQ(field_of(configuration([](auto& c) { c.set_events_per_s(100000); })), 4U);
  EXPECT_EQ(field_of(configuration([](auto& c) { c.set_capture_before_scans(5000); })), 5U);
  EXPECT_EQ(field_of(configuration([](auto& c) { c.set_capture_after_scans(0xFFFFFFFF); })), 6U);
  EXPECT_EQ(field_of(configuration([](auto& c) { c.add_step_triggers()->set_channel(24); })), 7U);
  EXPECT_EQ(field_of(configuration([](auto& c) {
              for (int k = 0; k < 2; ++k) {
                c.add_step_triggers()->set_channel(19);
                c.mutable_step_triggers(k)->set_least_code(100);
              }
            })),
            7U);
  jig.configure();
  proto::HostToJig arm;
  EXPECT_EQ(field_of(arm =
                         [] {
                           proto::HostToJig command;
                           command.mutable_arm();
                           return command;
                         }()),
            1U);
  arm.mutable_arm()->set_set(1);
  *arm.mutable_arm()->add_limits() = low_limit(16, 100);
  *arm.mutable_arm()->add_limits() = low_limit(16, 200);
  EXPECT_EQ(field_of(arm), 2U);
  arm.mutable_arm()->mutable_limits(1)->set_channel(17);
  arm.mutable_arm()->mutable_limits(1)->set_release_code(199);  // would never end
  EXPECT_EQ(field_of(arm), 2U);
  arm.mutable_arm()->mutable_limits(1)->set_release_code(200);
  arm.mutable_arm()->add_thresholds()->set_code(40000);
  EXPECT_EQ(field_of(arm), 3U);
}

TEST(CommanderTest, RefusesMoreEntriesThanItHolds) {
  JigFixture jig;
  proto::HostToJig command = configuration([](auto& c) {
    for (std::uint32_t k = 0; k < 9; ++k) {
      c.add_step_triggers()->set_channel(k);
      c.mutable_step_triggers(static_cast<int>(k))->set_least_code(100);
    }
  });
  EXPECT_EQ(answer_to(jig, command).refusal(), proto::REFUSAL_OUT_OF_RANGE);
}

TEST(CommanderTest, SurvivesNoiseHalfAndOverlongFrames) {
  JigFixture jig;
  testing::Random random(11);
  std::vector<std::byte> noise(20000);
  for (std::byte& value : noise) value = static_cast<std::byte>(random.next());
  jig.send_bytes(noise);
  jig.send_bytes(std::array{wire::kDelimiter});
  const std::uint32_t after_noise = jig.health().frames_damaged;
  EXPECT_GT(after_noise, 0U);

  proto::HostToJig identify;
  identify.mutable_identify();
  identify.set_id(5);
  const auto frame = testing::framed(identify.SerializeAsString());
  jig.send_bytes(std::span(frame).first(frame.size() / 2));
  jig.send_bytes(std::array{wire::kDelimiter});
  EXPECT_EQ(jig.health().frames_damaged, after_noise + 1);

  jig.send_bytes(std::vector<std::byte>(9000, std::byte{1}));
  jig.send_bytes(std::array{wire::kDelimiter});
  EXPECT_EQ(jig.health().frames_damaged, after_noise + 2);

  jig.send_bytes(testing::framed("not a command"));  // a sound frame without an id
  const auto logs = of_kind(jig.heard(), proto::JigToHost::kLog);
  ASSERT_EQ(logs.size(), 1U);
  EXPECT_EQ(logs[0].log().code(), 1U);
  EXPECT_EQ(logs[0].log().value(), 13);

  jig.send_bytes(frame);
  EXPECT_EQ(last_answer(jig.heard()).id(), 5U);
}

TEST(CommanderTest, TakesEveryCutOfAFrameForDamageAndNothingElse) {
  proto::HostToJig start;
  start.mutable_start();
  start.set_id(77);
  const auto frame = testing::framed(start.SerializeAsString());
  for (std::size_t kept = 1; kept + 1 < frame.size(); ++kept) {
    JigFixture jig;
    jig.configure();
    jig.heard();
    jig.send_bytes(std::span(frame).first(kept));
    jig.send_bytes(std::array{wire::kDelimiter});
    EXPECT_EQ(jig.health().frames_damaged, 1U) << kept;
    EXPECT_FALSE(jig.health().running) << kept;
    EXPECT_TRUE(jig.heard().empty()) << kept;
  }
}

TEST(CommanderTest, PlaysLoadStepsInBenchAndReportsEachEdge) {
  JigFixture jig(Mode::kBench);
  jig.begin({});
  jig.describe_load_bank();
  EXPECT_EQ(answer_to(jig, drive_ps_on(true)).refusal(), proto::REFUSAL_NONE);
  EXPECT_TRUE(jig.outputs.ps_on);
  proto::HostToJig programme = load_steps(2, true, 1500);
  auto* off = programme.mutable_load_steps()->add_steps();
  off->set_gate(2);
  off->set_after_us(3000);
  programme.mutable_load_steps()->set_repeat(2);
  jig.play(quiet, 1);
  EXPECT_EQ(answer_to(jig, programme).refusal(), proto::REFUSAL_NONE);
  jig.play(quiet, 20);
  // By hand. The block after the next, from scan 64, is the first not yet loaded when the command comes at scan 32: on
  // after 1.5 ms (48 scans), off after 4.5 (144), on after 6 (192), off after 9 (288).
  std::vector<std::pair<std::uint64_t, bool>> edges;
  for (const proto::Event& event : events_of(jig.heard(), proto::Event::kEdge)) {
    EXPECT_EQ(event.edge().line(), proto::LINE_GATE);
    EXPECT_EQ(event.edge().gate(), 2U);
    EXPECT_EQ(event.edge().offset_256(), 0U);
    edges.emplace_back(event.edge().scan(), event.edge().high());
  }
  using Edges = std::vector<std::pair<std::uint64_t, bool>>;
  EXPECT_EQ(edges, (Edges{{112, true}, {208, false}, {256, true}, {352, false}}));
  EXPECT_EQ(jig.outputs.gates, 0U);
  EXPECT_EQ(jig.outputs.gates_from_scan, 352U);
  EXPECT_EQ(answer_to(jig, load_steps(8, true)).refusal(), proto::REFUSAL_OUT_OF_RANGE);
}

TEST(CommanderTest, StopsWithTheGatesOff) {
  JigFixture jig(Mode::kBench);
  jig.begin({});
  jig.describe_load_bank();
  answer_to(jig, load_steps(1, true));
  jig.play(quiet, 2);
  EXPECT_EQ(jig.outputs.gates, 2U);
  jig.stop();
  EXPECT_EQ(jig.outputs.gates, 0U);
  const auto frames = jig.heard();
  ASSERT_FALSE(frames.empty());
  const proto::JigToHost& last = frames.back().message;
  ASSERT_TRUE(last.has_status());  // the last status ends a run
  EXPECT_FALSE(last.status().running());
}

}  // namespace
}  // namespace firmware
