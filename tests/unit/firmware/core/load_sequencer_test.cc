// SPDX-License-Identifier: Apache-2.0
// Where the edges of a programme lie, and what is told of them.
#include "firmware/core/load_sequencer.h"

#include <gtest/gtest.h>

#include "firmware/core/gate_marks.h"
#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

namespace proto = steadyrail::proto;
using testing::events_of;
using testing::JigFixture;

std::int16_t quiet(std::uint64_t, std::size_t) {
  return 1000;
}

proto::HostToJig square(std::uint32_t gate, std::uint32_t half_us, std::uint32_t rounds) {
  proto::HostToJig command;
  for (const bool on : {true, false}) {
    auto* step = command.mutable_load_steps()->add_steps();
    step->set_gate(gate);
    step->set_on(on);
    step->set_after_us(half_us);
  }
  command.mutable_load_steps()->set_repeat(rounds);
  return command;
}

proto::Refusal refusal_of(JigFixture& jig, const proto::HostToJig& command) {
  jig.send(command);
  return testing::last_answer(jig.heard()).refusal();
}

/// Edge k of a square wave lies (k + 1) half periods after the start: in 1/256 scan, rounded down, without drift.
TEST(LoadSequencerTest, PutsEdgesFromFiftyHertzToTenKilohertzWhereTheyBelong) {
  for (const std::uint64_t half_us : {10'000U, 333U, 250U, 50U}) {
    JigFixture jig(Mode::kBench);
    jig.begin({});
    jig.describe_load_bank();
    const std::uint32_t rounds = static_cast<std::uint32_t>(400'000 / half_us);
    ASSERT_EQ(refusal_of(jig, square(2, static_cast<std::uint32_t>(half_us), rounds)), proto::REFUSAL_NONE);
    jig.play(quiet, 900);
    ASSERT_EQ(jig.outputs.edges.size(), 2 * rounds) << half_us;
    for (std::size_t k = 0; k < jig.outputs.edges.size(); ++k) {
      const GateEdge& edge = jig.outputs.edges[k];
      // 8.192 parts of 1/256 scan a microsecond; from scan 32, the first block not yet loaded.
      EXPECT_EQ(edge.scan * 256 + edge.offset_256, 32 * 256 + (k + 1) * half_us * 8192 / 1000) << half_us << " " << k;
      EXPECT_EQ(edge.gates, k % 2 == 0 ? 0b100U : 0U);
    }
    EXPECT_EQ(jig.health().gates, 0U);
    EXPECT_EQ(jig.health().safety_cause, SafetyCause::kNone);
    EXPECT_FALSE(jig.jig().health().gates);
  }
}

TEST(LoadSequencerTest, TellsTheEdgesWithinItsBudgetAndCountsTheOthers) {
  JigFixture jig(Mode::kBench);
  jig.begin({});
  jig.describe_load_bank();
  ASSERT_EQ(refusal_of(jig, square(2, 50, 5000)), proto::REFUSAL_NONE);
  jig.play(quiet, 510);
  const auto told = events_of(jig.heard(), proto::Event::kEdge);
  std::uint64_t untold = 0;
  for (std::size_t k = 0; k < told.size(); ++k) untold += told[k].edge().untold();
  // 64 at once, then 200 a second of half a second.
  EXPECT_NEAR(static_cast<double>(told.size()), 64 + 100, 2);
  // Every edge is told or counted by one told later; what follows the last one told is not known yet.
  EXPECT_GT(told.size() + untold, 9800U);
  EXPECT_LE(told.size() + untold, 10'000U);
  EXPECT_EQ(jig.health().events_dropped, 0U) << "nothing was lost: the programme says where they lie";
  const proto::Edge& last = told.back().edge();
  const std::uint64_t index = told.size() + untold - 1;
  EXPECT_EQ(last.scan() * 256 + last.offset_256(), 32 * 256 + (index + 1) * 50 * 8192 / 1000);
}

TEST(LoadSequencerTest, ANewProgrammeReplacesTheOldOneAndNoStepsEndIt) {
  JigFixture jig(Mode::kBench);
  jig.begin({});
  jig.describe_load_bank();
  ASSERT_EQ(refusal_of(jig, square(0, 1000, 1000)), proto::REFUSAL_NONE);
  jig.play(quiet, 20);
  ASSERT_EQ(refusal_of(jig, square(1, 1000, 1000)), proto::REFUSAL_NONE);
  jig.play(quiet, 2);
  const std::size_t before = jig.outputs.edges.size();
  jig.play(quiet, 20);
  for (std::size_t k = before; k < jig.outputs.edges.size(); ++k) {
    EXPECT_EQ(jig.outputs.edges[k].gates & 1U, jig.outputs.edges[before].gates & 1U) << "gate 0 stays as it was left";
  }
  proto::HostToJig none;
  none.mutable_load_steps();
  ASSERT_EQ(refusal_of(jig, none), proto::REFUSAL_NONE);
  EXPECT_EQ(jig.outputs.gates, 0U);
  EXPECT_EQ(jig.health().gates, 0U);
  const std::size_t loaded = jig.outputs.edges.size();
  jig.play(quiet, 20);
  EXPECT_EQ(jig.outputs.edges.size(), loaded);
}

TEST(LoadSequencerTest, ARefusedProgrammeLeavesTheOneThatPlays) {
  JigFixture jig(Mode::kBench);
  jig.begin({});
  jig.describe_load_bank();
  ASSERT_EQ(refusal_of(jig, square(0, 1000, 1000)), proto::REFUSAL_NONE);
  jig.play(quiet, 10);
  EXPECT_EQ(refusal_of(jig, square(0, 20, 1000)), proto::REFUSAL_REPETITION_LIMIT);
  const std::size_t loaded = jig.outputs.edges.size();
  jig.play(quiet, 10);
  EXPECT_EQ(jig.outputs.edges.size(), loaded + 10);
}

/// Marks by hand: edges at 100 and 110 are one mark, 200 another; a step belongs to an edge within 20 scans.
TEST(GateMarksTest, KnowsTheStepsOfItsOwnEdges) {
  GateMarks marks;
  EXPECT_FALSE(marks.near(0, 20));
  for (const std::uint64_t scan : {100U, 110U, 200U}) marks.add(scan);
  for (const std::uint64_t scan : {80U, 100U, 115U, 130U, 180U, 220U}) EXPECT_TRUE(marks.near(scan, 20)) << scan;
  for (const std::uint64_t scan : {79U, 131U, 179U, 221U}) EXPECT_FALSE(marks.near(scan, 20)) << scan;
  GateMarks wrapped;
  wrapped.add(0xFFFF'FFF8);
  EXPECT_TRUE(wrapped.near(0x1'0000'0004, 20));
  EXPECT_FALSE(wrapped.near(0x1'0000'0020, 20));
}

}  // namespace
}  // namespace firmware
