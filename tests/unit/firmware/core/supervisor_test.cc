// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/supervisor.h"

#include <gtest/gtest.h>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

using testing::HeardFrame;
using testing::JigFixture;
using testing::of_kind;
namespace proto = steadyrail::proto;

std::int16_t quiet(std::uint64_t, std::size_t) {
  return 1000;
}

/// Plays without the keep-alives of JigFixture::play.
void play_silently(JigFixture& jig, std::size_t blocks) {
  std::uint64_t next = jig.health().next_scan;
  for (std::size_t k = 0; k < blocks; ++k, next += wire::kScansPerBlock) {
    jig.jig().on_block(testing::block_of(next, quiet));
    jig.talk();
  }
}

void drive(JigFixture& jig) {
  if (jig.health().safety_cause == SafetyCause::kNone && jig.health().gates == 0) jig.describe_load_bank();
  proto::HostToJig command;
  command.mutable_drive_ps_on()->set_on(true);
  jig.send(command);
  command = {};
  auto* step = command.mutable_load_steps()->add_steps();
  step->set_gate(0);
  step->set_on(true);
  jig.send(command);
}

TEST(SupervisorTest, SwitchesEverythingOffAfterAReset) {
  JigFixture jig(Mode::kBench);
  EXPECT_EQ(jig.outputs.gates, 0U);
  EXPECT_FALSE(jig.outputs.ps_on);
}

TEST(SupervisorTest, SwitchesEverythingOffWhenTheHostFallsSilentInBench) {
  JigFixture jig(Mode::kBench);
  jig.begin({});
  drive(jig);
  play_silently(jig, 999);
  EXPECT_EQ(jig.outputs.gates, 1U);
  EXPECT_TRUE(jig.outputs.ps_on);
  jig.heard();
  play_silently(jig, 1);  // 1,000 ms: the default
  EXPECT_EQ(jig.outputs.gates, 0U);
  EXPECT_FALSE(jig.outputs.ps_on);
  const auto frames = jig.heard();
  const auto statuses = of_kind(frames, proto::JigToHost::kStatus);
  ASSERT_FALSE(statuses.empty());  // at once, not at the next second
  EXPECT_EQ(statuses[0].status().safety_cause(), proto::SAFETY_CAUSE_HOST_SILENT);
  EXPECT_EQ(statuses[0].status().scan(), 32000U);
  EXPECT_EQ(statuses[0].status().gates(), 0U);
  EXPECT_FALSE(statuses[0].status().ps_on_driven());
}

TEST(SupervisorTest, KeepsTheCauseUntilArmedAgain) {
  JigFixture jig(Mode::kBench);
  jig.begin({});
  drive(jig);
  play_silently(jig, 1000);
  jig.heard();
  drive(jig);
  for (const auto& answer : of_kind(jig.heard(), proto::JigToHost::kAcknowledgement)) {
    EXPECT_EQ(answer.acknowledgement().refusal(), proto::REFUSAL_SAFETY);
  }
  EXPECT_FALSE(jig.outputs.ps_on);
  jig.stop();
  proto::HostToJig arm;
  arm.mutable_arm()->set_set(1);
  jig.send(arm);
  drive(jig);
  EXPECT_TRUE(jig.outputs.ps_on);
}

TEST(SupervisorTest, SwitchesNothingWhileTheHostSpeaks) {
  JigFixture jig(Mode::kBench);
  jig.begin({});
  drive(jig);
  jig.play(quiet, 3000);  // keeps alive every 500 ms
  EXPECT_EQ(jig.outputs.gates, 1U);
  EXPECT_TRUE(jig.outputs.ps_on);
}

TEST(SupervisorTest, OnlyEndsTelemetryWhenTheHostFallsSilentBesideAPc) {
  JigFixture jig(Mode::kObserve);
  jig.begin({});
  play_silently(jig, 9999);
  EXPECT_TRUE(jig.health().running);
  play_silently(jig, 1);
  EXPECT_FALSE(jig.health().running);
  EXPECT_EQ(jig.health().safety_cause, SafetyCause::kNone);
  const auto frames = jig.heard();
  EXPECT_FALSE(frames.back().message.status().running());
}

TEST(SupervisorTest, TripsWhenTheKeyedLinkMoves) {
  JigFixture jig(Mode::kBench);
  jig.begin({});
  drive(jig);
  jig.play(quiet, 2);
  jig.heard();
  jig.outputs.mode = Mode::kObserve;
  jig.play(quiet, 1);
  EXPECT_EQ(jig.outputs.gates, 0U);
  EXPECT_FALSE(jig.outputs.ps_on);
  const auto statuses = of_kind(jig.heard(), proto::JigToHost::kStatus);
  ASSERT_FALSE(statuses.empty());
  EXPECT_EQ(statuses[0].status().safety_cause(), proto::SAFETY_CAUSE_MODE_LINK_MOVED);
  EXPECT_EQ(statuses[0].status().mode(), proto::JIG_MODE_OBSERVE);
}

TEST(SupervisorTest, FeedsTheWatchdogOnceABlock) {
  JigFixture jig;
  jig.play(quiet, 17);
  EXPECT_EQ(jig.outputs.feeds, 17U);
}

}  // namespace
}  // namespace firmware
