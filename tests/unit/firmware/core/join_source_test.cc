// SPDX-License-Identifier: Apache-2.0
// The self-test's source: joined only to dead taps, and gone with everything else that is driven.
#include <gtest/gtest.h>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

using testing::JigFixture;
using testing::last_answer;
namespace proto = steadyrail::proto;

constexpr std::int32_t kBound = 50;

proto::HostToJig join(std::uint32_t outputs, std::uint32_t level = 2, bool weak = true) {
  proto::HostToJig command;
  proto::JoinSource& source = *command.mutable_join_source();
  source.set_outputs(outputs);
  source.set_level(level);
  source.set_weak(weak);
  for (int c = 0; c < 24; ++c) {
    source.add_least_code(-kBound);
    source.add_most_code(kBound);
  }
  return command;
}

proto::Acknowledgement answer_to(JigFixture& jig, const proto::HostToJig& command) {
  jig.send(command);
  return last_answer(jig.heard());
}

/// A running jig whose taps are dead, but for one code of one channel.
class DeadJig : public JigFixture {
 public:
  explicit DeadJig(Mode mode = Mode::kObserve) : JigFixture(mode) {
    describe_load_bank();
    begin({});
    dead();
  }
  void dead(std::size_t channel = 0, std::int16_t code = 0) {
    play([=](std::uint64_t scan, std::size_t c) { return scan % 32 == 7 && c == channel ? code : std::int16_t{0}; }, 1);
    heard();
  }
};

TEST(JoinSourceTest, IsOffFromReset) {
  JigFixture jig;
  EXPECT_EQ(jig.outputs.joined.outputs, 0U);
}

TEST(JoinSourceTest, IsJoinedAsAskedInEveryModeWithoutAPowerSource) {
  for (const Mode mode : {Mode::kObserve, Mode::kBench, Mode::kUnknown}) {
    DeadJig jig(mode);
    EXPECT_EQ(answer_to(jig, join(0x80000001U)).refusal(), proto::REFUSAL_NONE);
    EXPECT_EQ(jig.outputs.joined.outputs, 0x80000001U);
    EXPECT_EQ(jig.outputs.joined.level, 2);
    EXPECT_TRUE(jig.outputs.joined.weak);
    EXPECT_EQ(answer_to(jig, join(0)).refusal(), proto::REFUSAL_NONE);
    EXPECT_EQ(jig.outputs.joined.outputs, 0U);
  }
}

/// One scan of one channel in the latest block is enough, at either bound, in every mode.
TEST(JoinSourceTest, IsRefusedWhileATapIsLive) {
  for (const Mode mode : {Mode::kObserve, Mode::kBench}) {
    for (const std::size_t channel : {std::size_t{0}, std::size_t{16}, std::size_t{23}}) {
      for (const int sign : {-1, 1}) {
        DeadJig jig(mode);
        jig.dead(channel, static_cast<std::int16_t>(sign * (kBound + 1)));
        EXPECT_EQ(answer_to(jig, join(1)).refusal(), proto::REFUSAL_TAP_LIVE) << channel;
        EXPECT_EQ(jig.outputs.joined.outputs, 0U);
        jig.dead(channel, static_cast<std::int16_t>(sign * kBound));
        EXPECT_EQ(answer_to(jig, join(1)).refusal(), proto::REFUSAL_NONE) << "at the bound";
      }
    }
  }
}

TEST(JoinSourceTest, IsRefusedBeforeAnythingWasRead) {
  JigFixture jig;
  jig.begin({});
  jig.heard();
  EXPECT_EQ(answer_to(jig, join(1)).refusal(), proto::REFUSAL_TAP_LIVE);
  DeadJig again;
  again.stop();
  again.start();
  again.heard();
  EXPECT_EQ(answer_to(again, join(1)).refusal(), proto::REFUSAL_TAP_LIVE) << "what the run before read is old";
}

TEST(JoinSourceTest, RefusesWhatItCannotCheck) {
  DeadJig jig;
  EXPECT_EQ(answer_to(jig, join(1, 8)).field(), proto::JoinSource::kLevelFieldNumber);
  proto::HostToJig short_of_one = join(1);
  short_of_one.mutable_join_source()->mutable_most_code()->RemoveLast();
  const proto::Acknowledgement answer = answer_to(jig, short_of_one);
  EXPECT_EQ(answer.refusal(), proto::REFUSAL_OUT_OF_RANGE);
  EXPECT_EQ(answer.field(), proto::JoinSource::kLeastCodeFieldNumber);
  proto::HostToJig bare;
  bare.mutable_join_source()->set_outputs(1);
  EXPECT_EQ(answer_to(jig, bare).refusal(), proto::REFUSAL_OUT_OF_RANGE);
  EXPECT_EQ(jig.outputs.joined.outputs, 0U);
}

TEST(JoinSourceTest, IsRefusedWhileAnOutputIsOnAndGoesOffBeforeOne) {
  DeadJig jig(Mode::kBench);
  ASSERT_EQ(answer_to(jig, join(1)).refusal(), proto::REFUSAL_NONE);
  proto::HostToJig on;
  on.mutable_drive_ps_on()->set_on(true);
  ASSERT_EQ(answer_to(jig, on).refusal(), proto::REFUSAL_NONE);
  EXPECT_EQ(jig.outputs.joined.outputs, 0U);
  jig.dead();
  EXPECT_EQ(answer_to(jig, join(1)).refusal(), proto::REFUSAL_OUTPUTS_ON);
  on.mutable_drive_ps_on()->set_on(false);
  ASSERT_EQ(answer_to(jig, on).refusal(), proto::REFUSAL_NONE);
  jig.dead();
  ASSERT_EQ(answer_to(jig, join(1)).refusal(), proto::REFUSAL_NONE);
  proto::HostToJig steps;
  steps.mutable_load_steps()->add_steps()->set_on(true);
  ASSERT_EQ(answer_to(jig, steps).refusal(), proto::REFUSAL_NONE);
  EXPECT_EQ(jig.outputs.joined.outputs, 0U);
}

TEST(JoinSourceTest, GoesOffWithTheRunAndWithASafetyCause) {
  DeadJig stopped;
  ASSERT_EQ(answer_to(stopped, join(1)).refusal(), proto::REFUSAL_NONE);
  stopped.stop();
  EXPECT_EQ(stopped.outputs.joined.outputs, 0U);
  DeadJig moved;
  ASSERT_EQ(answer_to(moved, join(1)).refusal(), proto::REFUSAL_NONE);
  moved.outputs.mode = Mode::kBench;
  moved.dead();
  EXPECT_EQ(moved.outputs.joined.outputs, 0U);
  EXPECT_EQ(answer_to(moved, join(1)).refusal(), proto::REFUSAL_SAFETY);
  DeadJig silent;  // 10 s of telemetry without a word of the host
  ASSERT_EQ(answer_to(silent, join(1)).refusal(), proto::REFUSAL_NONE);
  for (std::uint64_t k = 0; k <= 10'000; ++k) {
    silent.jig().on_block(testing::block_of(silent.next_scan() + 32 * k, [](std::uint64_t, std::size_t) { return 0; }));
    silent.talk();
  }
  EXPECT_EQ(silent.outputs.joined.outputs, 0U);
}

}  // namespace
}  // namespace firmware
