// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/comparison.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace host::diagnose {
namespace {

namespace proto = steadyrail::proto;
using testing::Contains;
using testing::HasSubstr;

constexpr double kDifferenceU = 0.004;

/// An hour with `lock_ups`, its +12 V mean at `mean_v`, its output resistance `ohm` +- 0.3 mohm.
proto::SessionResult session(const std::string& name, double mean_v, double ohm, int lock_ups) {
  proto::SessionResult out;
  proto::SessionFacts& facts = *out.mutable_session();
  facts.set_recording(name);
  facts.set_recording_sha256("hash of " + name);
  facts.set_jig_id("J-01");
  facts.set_calibration_id("C-7");
  facts.set_duration_s(3600);
  out.mutable_coverage()->set_scans_expected(100);
  out.mutable_coverage()->set_scans_seen(100);
  proto::ChannelFigures& level = *out.add_channel_figures();
  level.set_channel("graphics-1");
  level.set_rail("+12V");
  level.set_unit("V");
  level.set_mean(mean_v);
  level.set_expanded_uncertainty(0.01);
  level.set_difference_u(kDifferenceU);
  level.set_load_a(20);
  proto::OutputResistance& resistance = *out.add_output_resistances();
  resistance.set_channel("graphics-1");
  resistance.set_rail("+12V");
  resistance.set_unit("ohm");
  resistance.set_value(ohm);
  resistance.set_interval_low(ohm - 0.3e-3);
  resistance.set_interval_high(ohm + 0.3e-3);
  for (int i = 0; i < lock_ups; ++i) {
    out.mutable_diagnosis()->mutable_evidence()->add_lock_ups()->set_reliance(1);
  }
  return out;
}

proto::Comparison compared(const std::vector<proto::SessionResult>& results) {
  const auto out = compare(results);
  EXPECT_TRUE(out) << out.error();
  return *out;
}

const proto::ComparedFigure& figure(const proto::Comparison& of, const std::string& word) {
  const auto at = std::ranges::find_if(of.figures(), [&](const auto& one) { return one.figure() == word; });
  EXPECT_NE(at, of.figures().end()) << word;
  return *at;
}

// By hand: s = 0.2 mV / sqrt 2, one degree of freedom: t = 12.706 (GUM, table G.2: 12.71); 12.706 s sqrt(1 / 2 + 1) =
// 2.2007 mV; with the 4 mV of a difference 4.5655 mV.
TEST(ComparisonTest, TheIntervalHoldsReadingsAndRepeats) {
  const auto found =
      compared({session("a", 12.000, 9e-3, 0), session("b", 11.980, 9e-3, 0), session("c", 12.0002, 9e-3, 0)});
  const auto& mean = figure(found, "mean");
  EXPECT_NEAR(mean.effect(), -0.0201, 1e-12);
  EXPECT_NEAR(mean.interval_low(), -0.0201 - 0.0045655, 1e-6);
  EXPECT_NEAR(mean.interval_high(), -0.0201 + 0.0045655, 1e-6);
  EXPECT_NEAR(mean.return_gap(), 0.0002, 1e-12);
  EXPECT_EQ(mean.change(), proto::CHANGE_SHOWN);
  EXPECT_EQ(figure(found, "output-resistance").change(), proto::CHANGE_NONE_SHOWN);
}

TEST(ComparisonTest, ADriftThatDidNotComeBackIsNotTheChange) {
  // A wandered by 30 mV: B lies between.
  const auto found =
      compared({session("a", 12.000, 9e-3, 0), session("b", 12.015, 9e-3, 0), session("c", 12.030, 9e-3, 0)});
  EXPECT_EQ(figure(found, "mean").change(), proto::CHANGE_NONE_SHOWN);
}

// Five A and four B whose spread is known: t of seven degrees of freedom is 2.3646 (GUM, table G.2: 2.36).
TEST(ComparisonTest, MoreSessionsNarrowTheInterval) {
  std::vector<proto::SessionResult> sessions;
  for (int i = 0; i < 9; ++i) {
    const double wander = i % 4 < 2 ? 0.01 : -0.01;
    sessions.push_back(session(std::string(1, static_cast<char>('a' + i)), 12 + wander - (i % 2) * 0.05, 9e-3, 0));
  }
  const auto found = compared(sessions);
  const auto& mean = figure(found, "mean");
  // A: +10 -10 +10 -10 +10 mV, mean 2 mV, squares 480; B: +10 -10 +10 -10, mean 0, squares 400 (mV^2): 880 / 7.
  const double half = std::hypot(kDifferenceU, 2.36462 * 1e-3 * std::sqrt(880.0 / 7 * (1.0 / 5 + 1.0 / 4)));
  EXPECT_NEAR(mean.effect(), -0.052, 1e-9);
  EXPECT_NEAR(mean.interval_high(), -0.052 + half, 1e-6);
  EXPECT_EQ(mean.change(), proto::CHANGE_SHOWN);
}

TEST(ComparisonTest, ResistancesCombineBothIntervals) {
  const auto found = compared({session("a", 12, 44e-3, 0), session("b", 12, 9e-3, 0), session("c", 12, 44.2e-3, 0)});
  const auto& ohm = figure(found, "output-resistance");
  EXPECT_NEAR(ohm.effect(), -35.1e-3, 1e-12);
  EXPECT_NEAR(ohm.uncertainty(), 0.3e-3 * std::sqrt(2.0), 1e-9);
  EXPECT_EQ(ohm.change(), proto::CHANGE_SHOWN);
}

TEST(ComparisonTest, WithoutAWayBackTheChangeIsOneWay) {
  const auto found = compared({session("a", 12.0, 9e-3, 0), session("b", 11.9, 9e-3, 0)});
  EXPECT_EQ(figure(found, "mean").change(), proto::CHANGE_ONE_WAY);
  EXPECT_THAT(found.doubts(), Contains(HasSubstr("no session back at A")));
}

TEST(ComparisonTest, AnotherJigOrCalibrationComparesNoFigure) {
  auto other = session("b", 11.9, 9e-3, 0);
  other.mutable_session()->set_calibration_id("C-8");
  const auto found = compared({session("a", 12.0, 9e-3, 0), other, session("c", 12.0, 9e-3, 0)});
  EXPECT_EQ(figure(found, "mean").change(), proto::CHANGE_NOT_COMPARED);
  EXPECT_FALSE(figure(found, "mean").has_effect());
  EXPECT_EQ(found.not_compared_size(), 1);
}

TEST(ComparisonTest, DifferentLoadsAndLimitsAreSaid) {
  auto other = session("b", 11.9, 9e-3, 0);
  other.mutable_channel_figures(0)->set_load_a(26);
  other.mutable_session()->set_limits_sha256("others");
  const auto found = compared({session("a", 12.0, 9e-3, 0), other, session("c", 12.0, 9e-3, 0)});
  EXPECT_THAT(figure(found, "mean").reason(), HasSubstr("loads differ"));
  EXPECT_THAT(found.doubts(), Contains(HasSubstr("different limits")));
}

TEST(ComparisonTest, AFigureThatASessionLacksIsNotMadeUp) {
  auto other = session("b", 11.9, 9e-3, 0);
  other.mutable_output_resistances(0)->clear_value();
  const auto found = compared({session("a", 12.0, 9e-3, 0), other, session("c", 12.0, 9e-3, 0)});
  const auto& ohm = figure(found, "output-resistance");
  EXPECT_EQ(ohm.change(), proto::CHANGE_NOT_COMPARED);
  EXPECT_FALSE(ohm.values(1).has_value());
  EXPECT_TRUE(ohm.values(2).has_value());
}

// Six lock-ups in 120 min against none in 60: Fisher's p by the hypergeometric sum, C(120,6)/C(180,6) one-sided.
TEST(ComparisonTest, LockUpsAreHeldAgainstTheirExposure) {
  const auto found = compared({session("a", 12, 9e-3, 4), session("b", 12, 9e-3, 0), session("c", 12, 9e-3, 2)});
  const proto::ComparedLockUps& told = found.lock_ups();
  EXPECT_EQ(told.lock_ups_a(), 6U);
  EXPECT_EQ(told.minutes_a(), 120U);
  EXPECT_EQ(told.minutes_b(), 60U);
  double chance = 1;
  for (int i = 0; i < 6; ++i) chance *= (120.0 - i) / (180.0 - i);
  EXPECT_NEAR(told.p_fewer_in_b(), chance, 1e-9);
  EXPECT_EQ(told.rate_ratio(), 0);
  EXPECT_EQ(told.rate_ratio_low(), 0);
}

TEST(ComparisonTest, MoreLockUpsThanMinutesStillHaveARate) {
  std::vector sessions{session("a", 12, 9e-3, 5), session("b", 12, 9e-3, 0), session("c", 12, 9e-3, 5)};
  for (auto& one : sessions) one.mutable_session()->set_duration_s(90);
  const auto found = compared(sessions);
  EXPECT_FALSE(found.lock_ups().has_p_value());
  EXPECT_THAT(found.said(), Contains(HasSubstr("more lock-ups than minutes")));
  EXPECT_EQ(found.lock_ups().rate_ratio(), 0);
  // No lock-up in a third of the exposure, ten in the rest: the bound on B's share p is (1 - p)^10 = 0.025.
  const double share = 1 - std::pow(0.025, 0.1);
  EXPECT_NEAR(found.lock_ups().rate_ratio_high(), share / (1 - share) * 2, 1e-9);
}

TEST(ComparisonTest, AFlatLoadAloneIsNoCountAndNoLockUpSaysSo) {
  auto one = session("a", 12, 9e-3, 1);
  one.mutable_diagnosis()->mutable_evidence()->mutable_lock_ups(0)->set_reliance(0.3);
  const auto found = compared({one, session("b", 12, 9e-3, 0), session("c", 12, 9e-3, 0)});
  EXPECT_EQ(found.lock_ups().lock_ups_a(), 0U);
  EXPECT_FALSE(found.lock_ups().has_p_value());
  EXPECT_THAT(found.said(), Contains(HasSubstr("no lock-up")));
}

TEST(ComparisonTest, RefusesWhatMakesNoSense) {
  const auto a = session("a", 12, 9e-3, 0);
  auto simulated = session("b", 12, 9e-3, 0);
  simulated.set_simulated(true);
  EXPECT_FALSE(compare(std::vector{a}));
  EXPECT_FALSE(compare(std::vector{a, a}));
  EXPECT_FALSE(compare(std::vector{a, simulated}));
  EXPECT_FALSE(compare(std::vector(kSessionsMost + 1, a)));
  EXPECT_TRUE(compare(std::vector<proto::SessionResult>(2))) << "empty results are poor, but no reason to crash";
}

TEST(ComparisonTest, DroopsAreComparedByTheAmpere) {
  const auto with_droops = [](const std::string& name, double ohm) {
    auto out = session(name, 12, 9e-3, 0);
    for (int i = 0; i < 40; ++i) {
      proto::EventResult& event = *out.add_events();
      event.set_kind(proto::EVENT_KIND_DROOP);
      event.set_channel("graphics-1");
      event.set_step_a(5 + i % 10);
      event.set_deviation_v(event.step_a() * (ohm + 1e-4 * (i % 5 - 2)));
    }
    return out;
  };
  const auto found = compared({with_droops("a", 12e-3), with_droops("b", 16e-3), with_droops("c", 12e-3)});
  const auto& droop = figure(found, "droop-per-ampere");
  EXPECT_NEAR(droop.effect(), 4e-3, 1e-9);
  EXPECT_EQ(droop.change(), proto::CHANGE_SHOWN);
}

}  // namespace
}  // namespace host::diagnose
