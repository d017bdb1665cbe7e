// SPDX-License-Identifier: Apache-2.0
// +5 V standby stands whenever the mains does (ATX12V design guide 2.0, section 3.3.3, from memory; +5 V standby within
// 2 s of valid mains: section 3.3.4, read). Times and levels follow by hand from what is drawn.
#include <gtest/gtest.h>

#include "tests/unit/host/detect/session_fixture.h"
#include "tests/unit/host/detect/signal_fixture.h"

namespace host::detect {
namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema
using signals::line;
using signals::Signals;
using signals::sine;

ReviewOptions options() {
  return {.limits = signals::limits(), .unit = {}, .events_listed_max = 500};
}

const Verdict standby(const SessionResult& result) {
  return verdict_of(result, "standby-5v", QUANTITY_DYNAMIC);
}

// Off by PS_ON#, the mains there: a collapse is the supply's.
TEST(StandbyPresenceTest, CollapseWithTheSupplyOffFails) {
  Signals drawn(3);
  drawn.set(signals::kStandby, line({{1, 5}, {1.01, 3.0}, {1.2, 3.0}, {1.21, 5}}));
  const SessionResult result = drawn.review(options());
  EXPECT_EQ(standby(result).decision(), DECISION_FAIL);
  EXPECT_NEAR(standby(result).value(), 3.0, 1e-3);
  const auto events = events_of(result, EVENT_KIND_EXCURSION);
  ASSERT_EQ(events.size(), 1U);
  EXPECT_EQ(events[0].channel(), "standby-5v");
  EXPECT_EQ(events[0].decision(), DECISION_FAIL);
  // 5 V to 4.75 V takes 1.25 ms of the fall, and as much of the rise is missing.
  EXPECT_NEAR(events[0].duration_s(), 0.21 - 2 * 0.00125, 2 * events[0].duration_uncertainty_s());
}

// The main rails stay what they were: not judged while the supply is off.
TEST(StandbyPresenceTest, MainRailsAreNotJudgedInStandby) {
  const SessionResult result = Signals(2).review(options());
  EXPECT_EQ(standby(result).decision(), DECISION_PASS);
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_DYNAMIC).decision(), DECISION_UNDECIDED);
  EXPECT_TRUE(events_of(result, EVENT_KIND_EXCURSION).empty());
}

// Unplugged: the adapter goes first, standby follows when the primary capacitor is empty. No failure of the supply.
TEST(StandbyPresenceTest, FallsWithTheMainsWithoutFailing) {
  Signals drawn(4);
  drawn.set(signals::kAdapter, sine(50, 0.1, [](double t) { return t < 1; }));
  drawn.set(signals::kStandby, line({{1.3, 5}, {1.6, 0}}));
  const SessionResult result = drawn.review(options());
  EXPECT_EQ(standby(result).decision(), DECISION_PASS);
  EXPECT_NEAR(standby(result).value(), 5.0, 1e-3);
  EXPECT_TRUE(events_of(result, EVENT_KIND_EXCURSION).empty());
}

TEST(StandbyPresenceTest, NothingIsDueBeforeTheMains) {
  Signals drawn(3);
  drawn.set(signals::kAdapter, [](double) { return 0.0; });
  drawn.set(signals::kStandby, [](double) { return 0.0; });
  const SessionResult result = drawn.review(options());
  EXPECT_EQ(standby(result).decision(), DECISION_UNDECIDED);
  EXPECT_TRUE(events_of(result, EVENT_KIND_EXCURSION).empty());
}

// Two seconds after the mains it is due, risen or not.
TEST(StandbyPresenceTest, MustComeUpWithinTwoSecondsOfTheMains) {
  for (const double up_s : {1.9, 2.2}) {
    Signals drawn(5);
    drawn.set(signals::kAdapter, sine(50, 0, [](double t) { return t >= 1; }));
    drawn.set(signals::kStandby, line({{1 + up_s, 0}, {1 + up_s + 1e-3, 5}}));
    EXPECT_EQ(standby(drawn.review(options())).decision(), up_s < 2 ? DECISION_PASS : DECISION_FAIL) << up_s;
  }
}

// A jig without an AC-present channel cannot tell a pulled plug from a fault.
TEST(StandbyPresenceTest, WithoutAnAdapterOnlyARunningSupplyIsJudged) {
  JigDescription without = signals::jig();
  without.mutable_channels(static_cast<int>(signals::kAdapter))->set_kind(CHANNEL_KIND_AUXILIARY);
  Signals drawn(3);
  drawn.set(signals::kStandby, line({{1, 5}, {1.01, 0}}));
  EXPECT_EQ(standby(drawn.review(options(), without)).decision(), DECISION_UNDECIDED);
  drawn.set(signals::kPsOn, [](double) { return 0.1; });
  drawn.set(signals::kPwrOk, line({{0, 5}, {1.2, 5}, {1.201, 0}}));
  EXPECT_EQ(standby(drawn.review(options(), without)).decision(), DECISION_FAIL);
}

}  // namespace
}  // namespace host::detect
