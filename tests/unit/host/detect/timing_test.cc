// SPDX-License-Identifier: Apache-2.0
// Times of drawn sessions against closed forms; each source stands beside its value.
#include <gtest/gtest.h>

#include <cmath>

#include "host/model/limit_sets.h"
#include "tests/unit/host/detect/session_fixture.h"
#include "tests/unit/host/detect/signal_fixture.h"

namespace host::detect {
namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema
using signals::line;
using signals::Signals;
using signals::sine;

constexpr double kScanS = 1 / signals::kRateHz;
constexpr double kOnS = 0.2;    // PS_ON# falls
constexpr double kRampS = 0.3;  // the rails begin
constexpr double kRampLongS = 0.01;

/// ATX12V 2.0 for its read ramp limits; PWR_OK through 1 kohm and 1 uF to 5 V from `pwr_ok_s` on.
ReviewOptions options(const std::string& edition = "atx12v-2.0") {
  return {.limits = model::load_limits(edition)->set, .unit = {}, .events_listed_max = 500};
}

/// A start: every rail from 0 to nominal in a straight line of `ramp_s`.
Signals start(double ramp_s = kRampLongS, double pwr_ok_s = 0.5, double duration_s = 1.0) {
  Signals drawn(duration_s);
  drawn.set(signals::kPsOn, line({{kOnS, 5}, {kOnS + 1e-6, 0.1}}));
  drawn.set(signals::k12, line({{kRampS, 0}, {kRampS + ramp_s, 12}}));
  drawn.set(signals::k5, line({{kRampS, 0}, {kRampS + ramp_s, 5}}));
  drawn.set(signals::k3v3, line({{kRampS, 0}, {kRampS + ramp_s, 3.3}}));
  drawn.set(signals::kPwrOk,
            [pwr_ok_s](double t) { return t < pwr_ok_s ? 0 : 5 * (1 - std::exp((pwr_ok_s - t) / 1e-3)); });
  return drawn;
}

Verdict of(const SessionResult& result, Quantity quantity, const std::string& rail = "") {
  for (const Verdict& verdict : result.verdicts()) {
    if (verdict.quantity() == quantity && verdict.rail() == rail) return verdict;
  }
  ADD_FAILURE() << "no verdict of quantity " << quantity;
  return {};
}

// A straight line of 10 ms passes 10 and 90 % in 8.0 ms, 10 and 95 % in 8.5 ms: 0.85 of it. PWR_OK through 1 kohm and
// 1 uF to 5 V: ln(4.6/2.6) ms = 0.5705 ms from 0.4 to 2.4 V. Both with and without the analogue chain.
TEST(TimingTest, StartFollowsTheClosedForms) {
  for (const bool filtered : {false, true}) {
    Signals drawn = start();
    drawn.filtered = filtered;
    JigDescription described = signals::jig();
    if (!filtered) {
      // Nothing delays what was not filtered: poles far above the band.
      for (auto& channel : *described.mutable_channels()) {
        for (double& pole : *channel.mutable_pole_hz()) pole = 1e9;
      }
    }
    const SessionResult result = drawn.review(options(), described);
    const Verdict rise = of(result, QUANTITY_RISE_TIME, "+12V");
    EXPECT_NEAR(rise.value(), 0.85 * kRampLongS, 5e-6) << filtered;  // 11.40 V is 95 %
    EXPECT_NEAR(rise.expanded_uncertainty(), 2 * std::sqrt(2.0) * kScanS / std::sqrt(12.0), 10e-6);
    EXPECT_EQ(rise.decision(), DECISION_PASS);
    EXPECT_NEAR(of(result, QUANTITY_PWR_OK_RISE_TIME).value(), 0.570544858e-3, 15e-6) << filtered;
    // 3.14 V is 95.15 % of 3.3 V: it comes into regulation last.
    const double last = kRampS + 3.14 / 3.3 * kRampLongS;
    const Verdict power_on = of(result, QUANTITY_POWER_ON_TIME);
    EXPECT_NEAR(power_on.value(), last - kOnS, 10e-6) << filtered;
    EXPECT_EQ(power_on.channel(), "main-3v3");
    const Verdict delay = of(result, QUANTITY_PWR_OK_DELAY);
    EXPECT_NEAR(delay.value(), 0.5 + 1e-3 * std::log(5 / 2.6) - last, 10e-6) << filtered;
    EXPECT_NEAR(of(result, QUANTITY_RISE_SLOPE, "+12V").value(), 12 / (1e3 * kRampLongS), 5e-3);
    EXPECT_EQ(of(result, QUANTITY_RISE_FALL_BACK, "+12V").decision(), DECISION_PASS);
    EXPECT_NEAR(of(result, QUANTITY_TURN_ON_OVERSHOOT, "+12V").value(), 12, 2e-3);
    EXPECT_FALSE(rise.no_occasion());
  }
}

// Windows alone tell the same times to the length of a window.
TEST(TimingTest, WindowsAloneTellTimesWithTheirOwnUncertainty) {
  for (const std::uint32_t scans : {32U, 128U}) {
    Signals drawn = start();
    drawn.stamps = false;
    drawn.scans_per_window = scans;
    const Verdict rise = of(drawn.review(options()), QUANTITY_RISE_TIME, "+12V");
    EXPECT_NEAR(rise.expanded_uncertainty(), 2 * std::sqrt(2.0) * scans * kScanS / std::sqrt(12.0), 1e-9);
    EXPECT_NEAR(rise.value(), 0.85 * kRampLongS, rise.expanded_uncertainty());
  }
}

// 336521, revision 2.0, table 4-9: T1 below 200, T2 0.2 to 20, T3 100 to 250 ms. ATX12V 2.0: 500, 0.1 to 20, 100 to
// 500 ms. One recording, two editions.
TEST(TimingTest, EditionsDecideDifferently) {
  const Signals slow = start(kRampLongS, kRampS + 0.4);
  EXPECT_EQ(of(slow.review(options("atx-3.0")), QUANTITY_PWR_OK_DELAY).decision(), DECISION_FAIL);
  EXPECT_EQ(of(slow.review(options("atx12v-2.0")), QUANTITY_PWR_OK_DELAY).decision(), DECISION_PASS);
  const Signals steep = start(0.15e-3);
  EXPECT_EQ(of(steep.review(options("atx-3.0")), QUANTITY_RISE_TIME, "+5V").decision(), DECISION_FAIL);
  const Signals lazy = start(30e-3);
  EXPECT_EQ(of(lazy.review(options("atx-3.0")), QUANTITY_RISE_TIME, "+5V").decision(), DECISION_FAIL);
  // 12 V in 30 ms are 0.4 V/ms; Vnom/20 asks for 0.6. Read in ATX12V 2.0, from memory in 336521 revision 2.0.
  EXPECT_EQ(of(lazy.review(options("atx12v-2.0")), QUANTITY_RISE_SLOPE, "+12V").decision(), DECISION_FAIL);
  const Verdict remembered = of(lazy.review(options("atx-3.0")), QUANTITY_RISE_SLOPE, "+12V");
  EXPECT_EQ(remembered.decision(), DECISION_UNDECIDED);
  EXPECT_EQ(remembered.reason(), "limit from memory");
}

// Within the uncertainty of 20 ms: 8.5 of 10 parts of the ramp are 20 ms.
TEST(TimingTest, AtTheLimitNothingIsDecided) {
  EXPECT_EQ(of(start(20e-3 / 0.85).review(options()), QUANTITY_RISE_TIME, "+12V").decision(), DECISION_UNDECIDED);
}

TEST(TimingTest, ShapeOfTheRampIsJudged) {
  Signals drawn = start();
  drawn.set(signals::k12, line({{0.3, 0}, {0.305, 7}, {0.3055, 6}, {0.31, 13.5}, {0.32, 12}}));
  const SessionResult result = drawn.review(options());
  EXPECT_EQ(of(result, QUANTITY_RISE_FALL_BACK, "+12V").decision(), DECISION_FAIL);
  EXPECT_GT(of(result, QUANTITY_RISE_FALL_BACK, "+12V").value(), 0.4);
  EXPECT_EQ(of(result, QUANTITY_TURN_ON_OVERSHOOT, "+12V").decision(), DECISION_FAIL);  // 13.2 V are allowed
  EXPECT_EQ(of(result, QUANTITY_RISE_FALL_BACK, "+5V").decision(), DECISION_PASS);
}

// +3.3 V first: told as an event, and from memory undecided. A rail that sinks again before PWR_OK is told too.
TEST(TimingTest, OddSequencesAreEvents) {
  Signals drawn = start();
  drawn.set(signals::k3v3, line({{0.28, 0}, {0.29, 3.3}}));
  drawn.set(signals::k5, line({{0.3, 0}, {0.31, 5}, {0.4, 5}, {0.401, 3}, {0.42, 3}, {0.421, 5}}));
  const SessionResult result = drawn.review(options());
  const auto events = events_of(result, EVENT_KIND_SEQUENCE);
  ASSERT_EQ(events.size(), 2U);
  EXPECT_NE((events[0].note() + events[1].note()).find("+3.3 V stood 3.30 V above"), std::string::npos);
  EXPECT_NE((events[0].note() + events[1].note()).find("main-5v fell below 90 % of nominal again before"),
            std::string::npos);
  EXPECT_EQ(of(result, QUANTITY_RAIL_ORDER, "+3.3V").decision(), DECISION_UNDECIDED);
  const auto starts = events_of(result, EVENT_KIND_TIMING);
  ASSERT_EQ(starts.size(), 1U);
  EXPECT_NE(starts[0].note().find("at 20 % +3.3V, then +12V with +5V"), std::string::npos) << starts[0].note();
}

// By hand: +12 V crosses 11.40 V of its straight line from 0.3 s on at 0.3095 s, the last of the rails with the others;
// PWR_OK stays low. When 2.8 s have passed since PS_ON#, at 3.0 s, it is late by 2.69 s and more: 500 ms are allowed.
TEST(TimingTest, StartWithoutPwrOkIsToldAndFails) {
  Signals drawn = start(kRampLongS, 1e9, 4);
  // It stood high before, so that its lead is known to be there.
  drawn.set(signals::kPwrOk, line({{0.05, 5}, {0.0501, 0}}));
  const SessionResult result = drawn.review(options());
  const auto odd = events_of(result, EVENT_KIND_SEQUENCE);
  ASSERT_EQ(odd.size(), 1U);
  EXPECT_NE(odd[0].note().find("PWR_OK had not risen 2.8"), std::string::npos) << odd[0].note();
  const auto starts = events_of(result, EVENT_KIND_TIMING);
  ASSERT_EQ(starts.size(), 1U);
  EXPECT_NEAR(starts[0].start_s(), kOnS, 1e-3);
  const Verdict delay = of(result, QUANTITY_PWR_OK_DELAY);
  EXPECT_EQ(delay.decision(), DECISION_FAIL) << delay.reason();
  EXPECT_NEAR(delay.value(), 3.0 - 0.3095, 0.05);
  EXPECT_EQ(of(result, QUANTITY_POWER_ON_TIME).decision(), DECISION_PASS);
}

// An open sense lead reads like a PWR_OK that does not come: told, and no verdict rests on it.
TEST(TimingTest, PwrOkNeverSeenHighAccusesNobody) {
  const SessionResult result = start(kRampLongS, 1e9, 4).review(options());
  std::string odd;
  for (const EventResult& event : events_of(result, EVENT_KIND_SEQUENCE)) odd += event.note() + "\n";
  EXPECT_NE(odd.find("PWR_OK had not risen"), std::string::npos) << odd;
  EXPECT_NE(odd.find("its sense lead may be open"), std::string::npos) << odd;
  EXPECT_EQ(of(result, QUANTITY_PWR_OK_DELAY).decision(), DECISION_NOT_TESTED);
}

TEST(TimingTest, SupplyThatDoesNotStartAtAllIsTold) {
  Signals drawn(4);
  drawn.set(signals::kPsOn, line({{kOnS, 5}, {kOnS + 1e-6, 0.1}}));
  const SessionResult result = drawn.review(options());
  const auto odd = events_of(result, EVENT_KIND_SEQUENCE);
  ASSERT_EQ(odd.size(), 1U);
  EXPECT_NE(odd[0].note().find("no rail rose"), std::string::npos) << odd[0].note();
  EXPECT_TRUE(events_of(result, EVENT_KIND_TIMING).empty());
}

// Nothing started, nothing failed: such verdicts are there, are no gap in the answer, and name what was missing.
TEST(TimingTest, WithoutAnOccasionNothingIsTested) {
  Signals drawn(1);
  drawn.set(signals::kPsOn, [](double) { return 0.1; });
  for (const auto& [channel, volts] : {std::pair{signals::k12, 12.0}, {signals::k5, 5.0}, {signals::k3v3, 3.3}}) {
    drawn.set(channel, [volts = volts](double) { return volts; });
  }
  drawn.set(signals::kPwrOk, [](double) { return 5.0; });
  const SessionResult result = drawn.review(options());
  for (const Quantity quantity : {QUANTITY_POWER_ON_TIME, QUANTITY_RISE_TIME, QUANTITY_PWR_OK_DELAY, QUANTITY_HOLD_UP,
                                  QUANTITY_MAINS_LOSS_TO_PWR_OK, QUANTITY_PWR_OK_TO_RAILS}) {
    EXPECT_EQ(of(result, quantity).decision(), DECISION_NOT_TESTED);
    EXPECT_TRUE(of(result, quantity).no_occasion());
    EXPECT_FALSE(of(result, quantity).reason().empty());
  }
  EXPECT_EQ(of(result, QUANTITY_PWR_OK_HIGH).decision(), DECISION_PASS);
}

// T0: the mains comes, standby reaches 4.75 V of 5 in 19 of 20 ms of its ramp, half a second later.
TEST(TimingTest, StandbyStartRunsFromTheMains) {
  Signals drawn(3);
  drawn.set(signals::kAdapter, sine(50, 0, [](double t) { return t >= 1; }));
  drawn.set(signals::kStandby, line({{1.5, 0}, {1.52, 5}}));
  const Verdict verdict = of(drawn.review(options()), QUANTITY_STANDBY_START);
  EXPECT_NEAR(verdict.value(), 0.519, 1.5e-3);
  EXPECT_EQ(verdict.decision(), DECISION_PASS);
}

}  // namespace
}  // namespace host::detect
