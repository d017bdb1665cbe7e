// SPDX-License-Identifier: Apache-2.0
#include "host/calibrate/verification.h"

#include <array>
#include <cmath>
#include <random>
#include <vector>

#include <gtest/gtest.h>

#include "host/calibrate/meter.h"
#include "host/calibrate/plan.h"
#include "host/data/shipped.h"
#include "host/model/day.h"

namespace host::calibrate {
namespace {

// By hand: 4.0 mV apart, U 10.5 and 8.0 mV: 4.0 / 13.2004 = 0.303; 14 mV apart: 1.0606.
TEST(EnTest, AgreesWithTheWorkedExample) {
  EXPECT_NEAR(e_n(4.0e-3, 10.5e-3, 8.0e-3), 0.30302, 5e-6);
  EXPECT_NEAR(e_n(-14e-3, 10.5e-3, 8.0e-3), -1.060576, 5e-7);
}

model::Jig reference() {
  return model::Jig::from_text(data::shipped("jigs/reference.textproto").value(), "reference").value();
}

steadyrail::proto::Meter meter() {
  return meter_from_text(data::shipped("meters/bench.textproto").value(), "meter").value();
}

TEST(VerifiedTest, PassesWithinBothUncertaintiesAndRefusesTheCalibrationsOwnPoints) {
  const model::Jig jig = reference();
  const model::JigChannel& channel = *jig.find("main-12v");
  const auto good = verified(channel, meter(), 11.9, 11.904, 32000);
  EXPECT_EQ(good.outcome(), "pass") << good.reason();
  EXPECT_NEAR(good.e_n(), 4e-3 / std::hypot(good.expanded_jig(), good.expanded_reference()), 1e-9);
  EXPECT_NEAR(good.expanded_jig(), 10.5e-3, 0.1e-3);
  // One bound of 0.05 % of 11.9 V + 2 mV over the root of 3, twice.
  EXPECT_NEAR(good.expanded_reference(), 2 * 7.95e-3 / std::sqrt(3.0), 0.05e-3);
  EXPECT_EQ(verified(channel, meter(), 11.9, 11.93, 32000).outcome(), "fail");
  EXPECT_EQ(verified(channel, meter(), 12.01, 12.01, 32000).outcome(), "refused");
  EXPECT_EQ(verified(channel, meter(), 30, 30, 32000).outcome(), "refused");
}

TEST(PlanTest, VerificationTakesOtherPointsThanTheCalibration) {
  const model::Jig jig = reference();
  for (const model::JigChannel& channel : jig.channels()) {
    if (!comparable(channel)) continue;
    EXPECT_GE(levels(channel, Purpose::kCalibration).size(), 5U) << channel.name;
    const std::vector<double> checks = levels(channel, Purpose::kVerification);
    EXPECT_FALSE(checks.empty());
    for (const double level : checks) {
      EXPECT_NE(verified(channel, meter(), level, level, 1000).outcome(), "refused") << channel.name << ' ' << level;
    }
  }
}

TEST(PlanTest, GoesUpAndDownTogetherWhereOneSourceServes) {
  const model::Jig jig = reference();
  const auto steps =
      plan(jig, {"main-12v", "graphics-1", "main-m12v", "current-main-5v", "temperature"}, true, Purpose::kCalibration);
  ASSERT_EQ(steps.size(), 14U + 14U + 14U);
  EXPECT_EQ(steps[0].channels, (std::vector<std::string>{"main-12v", "graphics-1"}));
  EXPECT_EQ(steps[0].direction, "up");
  EXPECT_EQ(steps[7].direction, "down");
  EXPECT_EQ(steps[7].target, 13);
  EXPECT_EQ(steps[14].target, -1);
  EXPECT_EQ(steps[28].direction, "zero-cold");
  EXPECT_EQ(steps[41].direction, "zero-warm");
}

std::int32_t day(const char* text) {
  return model::day_of(text).value();
}

// 1 mV a 100 days exactly: 3.5 mV is reached 350 days after the start; the calendar's 365 come later.
TEST(DriftTest, IsDueWhenTheLineReachesTheLimit) {
  const std::int32_t start = day("2026-01-01");
  const std::array<DriftPoint, 4> points = {
      {{start, 0}, {start + 100, 1e-3}, {start + 200, 2e-3}, {start + 300, 3e-3}}};
  const auto found = drift(points, 3.5e-3, start + 365);
  EXPECT_EQ(found.due_cause(), "drift");
  EXPECT_NEAR(*model::day_of(found.due()), start + 350, 1);
  EXPECT_NEAR(found.per_year(), 3.6525e-3, 1e-9);
  EXPECT_NEAR(found.predicted(), 3.65e-3, 1e-9);
  EXPECT_EQ(drift(points, 3.7e-3, start + 365).due_cause(), "calendar");
  const auto short_line = drift(std::span(points).first(2), 3.5e-3, start + 365);
  EXPECT_FALSE(short_line.has_per_year());
  EXPECT_EQ(short_line.due(), "2027-01-01");
}

// Of a line with noise, a new reading falls inside the 95 % prediction interval in 95 % of cases.
TEST(DriftTest, PredictionIntervalHoldsAsOftenAsItSays) {
  std::mt19937_64 random(17);
  std::normal_distribution<double> noise(0, 1e-3);
  const std::int32_t start = day("2026-01-01");
  constexpr int kTrials = 4000;
  int inside = 0;
  for (int trial = 0; trial < kTrials; ++trial) {
    std::vector<DriftPoint> points;
    for (int k = 0; k < 6; ++k) points.push_back({start + 50 * k, 1e-5 * 50 * k + noise(random)});
    const auto found = drift(points, 1, start + 365);
    const double next = 1e-5 * 365 + noise(random);
    if (next >= found.predicted_low() && next <= found.predicted_high()) ++inside;
  }
  EXPECT_NEAR(inside / double{kTrials}, 0.95, 4 * 0.0034);  // binomial standard deviation 0.34 %
}

}  // namespace
}  // namespace host::calibrate
