// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/marks.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace host::diagnose {
namespace {

namespace proto = steadyrail::proto;

constexpr double kColumnS = 0.25;

/// Half an hour of a game at 300 W whose windows differ by 200 W.
proto::Exposure game() {
  proto::Exposure out;
  out.set_column_s(kColumnS);
  for (int i = 0; i < 7200; ++i) {
    out.add_load_w(300);
    out.add_seen_share(1);
    out.add_spread_w(200);
  }
  return out;
}

void flat(proto::Exposure& exposure, double from_s, double for_s, float load_w = 250, float spread_w = 1) {
  for (int i = static_cast<int>(from_s / kColumnS); i < static_cast<int>((from_s + for_s) / kColumnS); ++i) {
    exposure.set_load_w(i, load_w);
    exposure.set_spread_w(i, spread_w);
  }
}

proto::SessionResult session() {
  proto::SessionResult out;
  out.mutable_session()->set_duration_s(1800);
  return out;
}

proto::SessionMark& add(proto::SessionResult& result, double from_s, double to_s, const std::string& source) {
  proto::SessionMark& mark = *result.mutable_session()->add_marks();
  mark.set_from_s(from_s);
  mark.set_to_s(to_s);
  mark.set_source(source);
  mark.set_lock_up(true);
  mark.set_placed(true);
  return mark;
}

TEST(FlatLoadsTest, AFrozenPcDrawsAFlatLine) {
  proto::Exposure exposure = game();
  flat(exposure, 600, 5);
  const auto found = flat_loads(exposure);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].from_s, 599.75);
  EXPECT_EQ(found[0].to_s, 600);
  EXPECT_LT(found[0].reliance, 1);
}

TEST(FlatLoadsTest, NeitherShortNorOffNorUnseenNorEverFlat) {
  proto::Exposure exposure = game();
  flat(exposure, 100, 1);            // too short
  flat(exposure, 200, 30, 3);        // off
  flat(exposure, 300, 10, 120, 30);  // a desktop: less, but it moves
  flat(exposure, 400, 10);
  for (int i = 1590; i < 1610; ++i) exposure.set_seen_share(i, 0.5F);  // the moment itself was not seen
  EXPECT_TRUE(flat_loads(exposure).empty());
  proto::Exposure still = game();
  flat(still, 0, 1800);
  EXPECT_TRUE(flat_loads(still).empty()) << "a resistor bank";
  EXPECT_TRUE(flat_loads({}).empty());
}

TEST(MarksTest, AnUnplacedOrOutsideMarkIsToldNotWeighed) {
  proto::SessionResult result = session();
  add(result, 0, 0, "key").set_placed(false);
  add(result, 1900, 1901, "key");
  add(result, -20, -10, "button");
  add(result, 100, 102, "key").set_lock_up(false);
  add(result, 700, 702, "heartbeat");
  const Marks found = marks(result, game());
  ASSERT_EQ(found.lock_ups.size(), 1U);
  EXPECT_EQ(found.lock_ups[0].from_s, 700);
  EXPECT_EQ(found.remarks.size(), 3U);
}

TEST(MarksTest, AFlatLoadThatNobodyElseToldOfCountsWhileItIsRare) {
  proto::Exposure exposure = game();
  for (int k = 0; k < 3; ++k) flat(exposure, 300 + 100 * k, 5);
  EXPECT_EQ(marks(session(), exposure).lock_ups.size(), 3U);
  flat(exposure, 700, 5);
  const Marks found = marks(session(), exposure);
  EXPECT_TRUE(found.lock_ups.empty());
  EXPECT_THAT(found.remarks, testing::ElementsAre(testing::HasSubstr("habit")));
}

TEST(MarksTest, AHeartbeatThatWentOnOverrulesAFlatLoad) {
  proto::Exposure exposure = game();
  flat(exposure, 600, 5);
  flat(exposure, 900, 5);
  proto::SessionResult result = session();
  result.mutable_session()->mutable_heartbeats()->set_beats(1700);
  result.mutable_session()->mutable_heartbeats()->set_period_s(1);
  add(result, 899.5, 901, "heartbeat");
  const Marks found = marks(result, exposure);
  ASSERT_EQ(found.lock_ups.size(), 2U);  // the silence, and the flat load at the same moment
  EXPECT_EQ(found.lock_ups[1].to_s, 900);
  EXPECT_THAT(found.remarks, testing::ElementsAre(testing::HasSubstr("heartbeat went on")));
}

TEST(MarksTest, HowTheListeningWentIsTold) {
  proto::SessionResult result = session();
  proto::HeartbeatSummary& beats = *result.mutable_session()->mutable_heartbeats();
  EXPECT_TRUE(marks(result, game()).remarks.empty());
  beats.set_listened_at("0.0.0.0 port 47000");
  EXPECT_THAT(marks(result, game()).remarks, testing::ElementsAre(testing::HasSubstr("none came")));
  beats.set_beats(1800);
  beats.set_foreign(3);
  beats.set_from_this_computer(true);
  beats.set_lost(2);
  EXPECT_THAT(marks(result, game()).remarks,
              testing::ElementsAre(testing::HasSubstr("recording computer itself"),
                                   testing::HasSubstr("3 of another token"), testing::HasSubstr("lost on their way")));
}

TEST(MarksTest, FallsOfPwrOkCountWhereTheSymptomIsAnOff) {
  proto::SessionResult result = session();
  proto::EventResult& fall = *result.add_events();
  fall.set_kind(proto::EVENT_KIND_SHUTDOWN);
  fall.set_start_s(500);
  fall.set_start_uncertainty_s(0.001);
  result.mutable_session()->set_symptom(proto::SYMPTOM_FREEZE);
  EXPECT_TRUE(marks(result, game()).lock_ups.empty());
  result.mutable_session()->set_symptom(proto::SYMPTOM_RESET);
  const Marks found = marks(result, game());
  ASSERT_EQ(found.lock_ups.size(), 1U);
  EXPECT_NEAR(found.lock_ups[0].from_s, 499.999, 1e-9);
}

}  // namespace
}  // namespace host::diagnose
