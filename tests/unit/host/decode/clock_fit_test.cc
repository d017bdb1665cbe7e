// SPDX-License-Identifier: Apache-2.0
// Truth is chosen here: a device clock of known rate, a one-sided delay; the fit must find it again.
#include "host/decode/clock_fit.h"

#include <cmath>
#include <random>

#include <gtest/gtest.h>

namespace host::decode {
namespace {

constexpr double kRateHz = 32'000;
constexpr std::uint64_t kMarkScans = 8000;
constexpr std::int64_t kStartUs = 1'767'225'600'000'000;

struct Truth {
  double rate_ppm = 0;  // device against host; above 0: it runs fast
  double delay_least_s = 0.0002;
  double delay_mean_s = 0.001;  // of an exponential on top
  double wander_ppm = 0;        // amplitude of a slow sine in rate, one period an hour
  double seconds = 60;

  double host_s(std::uint64_t scan) const {
    const double device_s = static_cast<double>(scan) / kRateHz;
    const double hour = 3600;
    const double turns = 2 * M_PI / hour;
    const double wander = wander_ppm * 1e-6 * (1 - std::cos(turns * device_s)) / turns;
    return device_s / (1 + rate_ppm * 1e-6) + wander;
  }
};

ClockFit fit_of(const Truth& truth, std::uint64_t seed, std::uint64_t first_scan = 0) {
  std::mt19937_64 random(seed);
  std::exponential_distribution<double> jitter(1 / truth.delay_mean_s);
  ClockFit fit(kRateHz);
  for (std::uint64_t scan = 0; static_cast<double>(scan) < truth.seconds * kRateHz; scan += kMarkScans) {
    const double arrival_s = truth.host_s(scan) + truth.delay_least_s + jitter(random);
    fit.add(first_scan + scan, model::HostTime{std::chrono::microseconds(kStartUs + std::llround(arrival_s * 1e6))});
  }
  return fit;
}

model::HostTime at(double seconds) {
  return model::HostTime{std::chrono::microseconds(kStartUs + std::llround(seconds * 1e6))};
}

TEST(ClockFitTest, SaysNothingBeforeASecondHasPassed) {
  EXPECT_FALSE(fit_of({.seconds = 0.9}, 1).line().has_value());
  EXPECT_FALSE(ClockFit(kRateHz).line().has_value());
  EXPECT_TRUE(fit_of({.seconds = 1.3}, 1).line().has_value());
}

TEST(ClockFitTest, FindsRateAndOffsetUnderOneSidedJitter) {
  for (const double ppm : {-80.0, 0.0, 35.0}) {
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
      const auto line = fit_of({.rate_ppm = ppm, .seconds = 600}, seed).line();
      ASSERT_TRUE(line.has_value());
      EXPECT_NEAR(line->rate_ppm, ppm, 0.5) << "seed " << seed;
      // At the start the line runs at the least delay above the truth: nothing shows it that this part is not time.
      const double first_arrival_s = static_cast<double>(line->first_host.since_epoch.count() - kStartUs) * 1e-6;
      EXPECT_NEAR(first_arrival_s + line->offset_s, 0.0002, 0.0003) << "seed " << seed;
      EXPECT_LT(line->uncertainty_s, 0.0005);
    }
  }
}

TEST(ClockFitTest, TheIntervalHoldsTheTrueScan) {
  const Truth truth{.rate_ppm = 40, .delay_least_s = 0.0015, .seconds = 300};
  for (std::uint64_t seed = 1; seed <= 50; ++seed) {
    const auto fit = fit_of(truth, seed, 1'000'000);
    for (const std::uint64_t scan : {0u, 800'000u, 4'000'000u, 9'000'000u}) {
      const double host_s = truth.host_s(scan);
      const auto scans = fit.scans(at(host_s), at(host_s));
      ASSERT_TRUE(scans.has_value());
      EXPECT_LE(scans->from_scan, 1'000'000.0 + scan) << "seed " << seed;
      EXPECT_GE(scans->to_scan, 1'000'000.0 + scan) << "seed " << seed;
      EXPECT_LT(scans->to_scan - scans->from_scan, 0.005 * kRateHz) << "an interval of 5 ms says little";
    }
  }
}

TEST(ClockFitTest, AWanderingClockWidensTheUncertainty) {
  // Eight hours, +-1 ppm once an hour: the time error is 1e-6 * 3600 / (2 pi) = 0.57 ms in amplitude.
  const Truth steady{.rate_ppm = 10, .seconds = 8 * 3600};
  const Truth wandering{.rate_ppm = 10, .wander_ppm = 1, .seconds = 8 * 3600};
  const auto calm = fit_of(steady, 3).line();
  const auto moved = fit_of(wandering, 3).line();
  EXPECT_LT(calm->uncertainty_s, 0.0001);
  EXPECT_GT(moved->uncertainty_s, 0.0003);
  EXPECT_LT(moved->uncertainty_s, 0.0015);
  EXPECT_NEAR(moved->rate_ppm, 10, 0.2);
}

TEST(ClockFitTest, ADelayedStretchIsNotTakenForTime) {
  // Between the tenth and the twentieth second every mark is 30 ms late: a busy host.
  ClockFit fit(kRateHz);
  for (std::uint64_t scan = 0; scan < 60 * 32'000; scan += kMarkScans) {
    const double seconds = static_cast<double>(scan) / kRateHz;
    fit.add(scan, at(seconds + 0.0005 + (seconds > 10 && seconds < 20 ? 0.030 : 0.0)));
  }
  const auto line = fit.line();
  EXPECT_NEAR(line->rate_ppm, 0, 0.1);
  EXPECT_NEAR(line->offset_s, 0, 1e-5);
}

TEST(ClockFitTest, IgnoresAScanThatFalls) {
  ClockFit fit(kRateHz);
  fit.add(64'000, at(2));
  fit.add(32'000, at(3));
  EXPECT_EQ(fit.marks(), 1u);
}

}  // namespace
}  // namespace host::decode
