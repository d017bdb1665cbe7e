// SPDX-License-Identifier: Apache-2.0
// Ripple: closed forms and published factors first, then tones drawn scan by scan through a whole review.
#include "host/detect/ripple_bound.h"

#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

#include "tests/unit/host/detect/session_fixture.h"

namespace host::detect {
namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

// Factors d2 as control-chart tables print them (ASTM STP 15D and others, three decimals); 640 by SciPy's normal
// distribution and the trapezoidal rule, 6.221937029.
TEST(RangeSigmasTest, AgreesWithControlChartTables) {
  const double d2[] = {1.128, 1.693, 2.059, 2.326, 2.534, 2.704, 2.847, 2.970, 3.078};
  for (int n = 2; n <= 10; ++n) EXPECT_NEAR(range_sigmas(n), d2[n - 2], 5.1e-4) << n;
  EXPECT_NEAR(range_sigmas(2), 2 / std::sqrt(std::numbers::pi), 1e-9);  // closed form
  EXPECT_NEAR(range_sigmas(640), 6.221937029, 5e-10);
  EXPECT_NEAR(0.6 * range_sigmas(640), 3.733162217, 5e-10);  // mV of noise on 0.6 mV rms
}

TEST(LeastRippleTest, NoiseIsTakenAwayInQuadratureAndNeverBelowNothing) {
  EXPECT_NEAR(least_ripple(34.0, 3.733162217), std::sqrt(34.0 * 34.0 - 3.733162217 * 3.733162217), 1e-12);
  EXPECT_EQ(least_ripple(3, 4), 0);
}

// 32 kS/s; frequencies worked out by hand: |f - round(f / fs) fs|.
TEST(AliasTest, TonesFoldToWhereTheyMust) {
  const double at[][2] = {{50e3, 14e3}, {65e3, 1e3}, {66e3, 2e3}, {100e3, 4e3}, {130e3, 2e3}, {200e3, 8e3}};
  for (const auto& [tone, shown] : at) EXPECT_DOUBLE_EQ(alias_hz(tone, 32e3), shown) << tone;
}

// Two poles at 14.2 kHz: 1 + (100 / 14.2)^2 = 50.6; ngspice's network gave -34.2 dB, 51 times.
TEST(AliasTest, ChainWeakensASwitchingTone) {
  const double poles[] = {14200, 14200};
  EXPECT_NEAR(weakened(poles, 100e3), 1 + std::pow(100 / 14.2, 2), 1e-9);
  EXPECT_NEAR(20 * std::log10(weakened(poles, 100e3)), 34.2, 0.2);
}

LimitSet ripple_limits(LimitStatus status = LIMIT_STATUS_READ) {
  LimitSet limits = test_limits(11.40);
  auto* row = limits.add_ripple();
  row->set_rail(RAIL_P12V);
  row->set_most_uv(120000);
  row->set_table("Table 8");
  row->set_status(status);
  return limits;
}

SessionResult reviewed(const Levels& levels, std::optional<LimitSet> limits = std::nullopt) {
  Review review({.limits = std::move(limits), .unit = {}, .events_listed_max = 500});
  review.header(test_header());
  levels.windows(review, 0, levels.scans());
  review.finish();
  return review.result();
}

void add_tone(Levels& levels, std::size_t channel, double hz, double peak) {
  auto& volts = levels.of(channel);
  for (std::size_t i = 0; i < volts.size(); ++i) {
    volts[i] += peak * std::sin(2 * std::numbers::pi * hz * static_cast<double>(i) / 32000 + 0.3);
  }
}

const RippleBound& bound_of(const SessionResult& result, const std::string& channel) {
  for (const auto& row : result.ripple_bounds()) {
    if (row.channel() == channel) return row;
  }
  throw std::logic_error("no ripple row of " + channel);
}

// 2 kHz, 40 mV peak to peak: 16 scans a turn hit both peaks to cos(pi / 16) or better, 1.9 %.
TEST(RippleReviewTest, ToneIsReadPeakToPeakAndNotExcluded) {
  Levels levels(64000);
  add_tone(levels, kMain, 2000, 0.020);
  const SessionResult result = reviewed(levels, ripple_limits());
  const RippleBound& row = bound_of(result, "main-12v");
  EXPECT_EQ(row.refusal(), "");
  EXPECT_GT(row.windows_read(), 10U);
  EXPECT_LE(row.median_pp(), 0.040 + 3e-4);
  EXPECT_GE(row.median_pp(), 0.040 * std::cos(std::numbers::pi / 16) - 3e-4);
  EXPECT_NEAR(row.noise_pp(), 2 * 3e-4 * 6.2219, 1e-6);  // 2 codes of 0.3 mV rms
  EXPECT_NEAR(row.value(), std::sqrt(row.median_pp() * row.median_pp() - row.noise_pp() * row.noise_pp()), 1e-12);
  const Verdict& verdict = verdict_of(result, "main-12v", QUANTITY_RIPPLE);
  EXPECT_EQ(verdict.decision(), DECISION_NOT_TESTED);
  EXPECT_NE(verdict.reason().find("not excluded"), std::string::npos);
}

TEST(RippleReviewTest, MoreThanTheLimitFailsAndARememberedLimitDoesNot) {
  Levels levels(64000);
  add_tone(levels, kMain, 2000, 0.080);
  EXPECT_EQ(verdict_of(reviewed(levels, ripple_limits()), "main-12v", QUANTITY_RIPPLE).decision(), DECISION_FAIL);
  const SessionResult remembered = reviewed(levels, ripple_limits(LIMIT_STATUS_FROM_MEMORY));
  EXPECT_EQ(verdict_of(remembered, "main-12v", QUANTITY_RIPPLE).decision(), DECISION_UNDECIDED);
}

TEST(RippleReviewTest, NothingEverPasses) {
  const SessionResult result = reviewed(Levels(64000), ripple_limits());
  EXPECT_EQ(bound_of(result, "main-12v").value(), 0);
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_RIPPLE).decision(), DECISION_NOT_TESTED);
}

// The residue of 50 Hz mains is a 100 Hz line: 8 mV of amplitude in, half a code of 1/8 out at most.
TEST(RippleReviewTest, LineAtTwiceTheMainsIsTold) {
  for (const double hz : {50.0, 60.0}) {
    Levels levels(96000);
    add_tone(levels, kMain, 2 * hz, 0.008);
    const SessionResult result = reviewed(levels);
    const RippleBound& row = bound_of(result, "main-12v");
    EXPECT_EQ(row.mains_hz(), hz);
    EXPECT_NEAR(row.mains_residue(), 0.008, 4e-5);
    // Not more than went in (two roundings to a code), and not 15 % less: the filter's own share at 100 Hz, sqrt(2) /
    // 10 of the amplitude, is what its motion within a window can cost.
    EXPECT_LE(row.median_pp(), 0.016 + 3e-4);
    EXPECT_GE(row.median_pp(), 0.016 * (1 - 0.15));
    EXPECT_EQ(bound_of(result, "main-5v").mains_hz(), 0);
  }
}

// A slow swing of 1 Hz, 300 mV peak to peak, is no ripple: Butterworth of second order leaves (1 / 10)^2 of it, and in
// 20 ms it moves by pi / 50 of that.
TEST(RippleReviewTest, SlowDriftIsFilteredAway) {
  Levels levels(128000);
  add_tone(levels, kMain, 1, 0.150);
  EXPECT_LT(bound_of(reviewed(levels), "main-12v").median_pp(), 0.004);
}

TEST(RippleReviewTest, LoadThatMovesLeavesNoStretch) {
  Levels levels(64000);
  for (std::size_t at = 0; at + 800 < levels.scans(); at += 800) levels.set(kGraphicsA, at, at + 400, 15);
  const SessionResult result = reviewed(levels, ripple_limits());
  EXPECT_NE(bound_of(result, "main-12v").refusal(), "");
  const Verdict& verdict = verdict_of(result, "main-12v", QUANTITY_RIPPLE);
  EXPECT_EQ(verdict.decision(), DECISION_NOT_TESTED);
  EXPECT_NE(verdict.reason(), "");
}

}  // namespace
}  // namespace host::detect
