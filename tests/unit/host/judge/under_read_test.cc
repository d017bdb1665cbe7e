// SPDX-License-Identifier: Apache-2.0
#include "host/judge/under_read.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace host::judge {
namespace {

constexpr std::array<double, 2> kTwoPoles = {14200, 14200};

// Closed form of two equal poles, s(t) = 1 - e^(-t/tau)(1 + t/tau), at the worst phase of 32 kS/s; figures by
// tests/reference/detectors/chain.py. The least of 201 phases lies above them (0.467057389 for one scan): it misses the
// phase where the readings before and after the peak show the same, and would bound too little.
TEST(UnderReadTest, TwoEqualPolesAgreeWithTheClosedForm) {
  const UnderRead chain(kTwoPoles, 32000);
  EXPECT_NEAR(chain.worst_fraction(20e-6), 0.285878521, 5e-6);
  EXPECT_NEAR(chain.worst_fraction(31.25e-6), 0.465738170, 5e-6);
  EXPECT_NEAR(chain.worst_fraction(50e-6), 0.732882350, 5e-6);
  EXPECT_NEAR(chain.worst_fraction(100e-6), 0.986588495, 5e-6);
  EXPECT_NEAR(chain.worst_fraction(200e-6), 0.999995369, 5e-8);
}

// One pole: a dip of width W sampled at its very end shows 1 - e^(-W/tau); the worst phase samples one scan before and
// after the end alike, where (1 - e^(-(W - x)/tau)) = (1 - e^(-W/tau)) e^(-(Ts - x)/tau).
TEST(UnderReadTest, OnePoleAgreesWithTheClosedForm) {
  const std::array<double, 1> pole = {10000};
  const double tau = 1 / (2 * std::numbers::pi * 10000);
  const double ts = 1 / 32000.0;
  const double width = 60e-6;
  double lo = 0;
  double hi = ts;
  for (int i = 0; i < 100; ++i) {
    const double x = (lo + hi) / 2;
    const double before = 1 - std::exp(-(width - x) / tau);
    const double after = (1 - std::exp(-width / tau)) * std::exp(-(ts - x) / tau);
    (before > after ? lo : hi) = x;
  }
  EXPECT_NEAR(UnderRead(pole, 32000).worst_fraction(width), 1 - std::exp(-(width - lo) / tau), 2e-5);
}

// Poles given in either order are the same chain, and a third, far faster one hides hardly more.
TEST(UnderReadTest, AnyNumberOfPolesInAnyOrder) {
  const std::array<double, 2> forward = {13250, 14210};
  const std::array<double, 2> backward = {14210, 13250};
  const std::array<double, 3> third = {13250, 14210, 5e6};
  const double fraction = UnderRead(forward, 32000).worst_fraction(50e-6);
  EXPECT_NEAR(UnderRead(backward, 32000).worst_fraction(50e-6), fraction, 1e-12);
  EXPECT_NEAR(UnderRead(third, 32000).worst_fraction(50e-6), fraction, 2e-3);
}

TEST(UnderReadTest, IdealChainMissesOnlyWhatFallsBetweenScans) {
  const UnderRead ideal({}, 32000);
  EXPECT_EQ(ideal.worst_fraction(31.25e-6), 1);
  EXPECT_EQ(ideal.worst_fraction(30e-6), 0);
}

// By hand from the fractions above: 0.5 V sampled at 0.732882 hides 0.5 (1/0.732882 - 1) = 0.18224 V.
TEST(UnderReadTest, BoundFollowsTheFraction) {
  const UnderRead chain(kTwoPoles, 32000);
  EXPECT_NEAR(chain.bound(0.5, 50e-6).value(), 0.18224, 2e-5);
  EXPECT_NEAR(chain.bound_of_samples(0.5, 2).value(), 0.5 * (1 / 0.465738170 - 1), 5e-5);
  EXPECT_LT(chain.bound_of_samples(0.5, 1000).value(), 1e-8);
}

TEST(UnderReadTest, OneSampleBoundsNothing) {
  const UnderRead chain(kTwoPoles, 32000);
  EXPECT_FALSE(chain.bound_of_samples(0.5, 1).has_value());
  EXPECT_FALSE(chain.bound_of_samples(0.5, 0).has_value());
  EXPECT_FALSE(chain.bound(0.5, 0).has_value());
}

// Spread of the response of two equal poles about a delay c, in time constants: g(c) = c - 2 + 2 e^-c (c + 2), the mean
// absolute deviation of a gamma(2) quantity; g(2) = 8 e^-2 = 1.0827 is its published value about the mean. The best
// stretch of one scan period found here by bisection on the closed form.
TEST(PeakBoundTest, TwoEqualPolesAgreeWithTheClosedForm) {
  const double tau = 32000 / (2 * std::numbers::pi * 14200);  // scans
  const auto g = [&](double c) {
    const double x = c / tau;
    return c < 0 ? 2 * tau - c : tau * (x - 2 + 2 * std::exp(-x) * (x + 2));
  };
  EXPECT_NEAR(g(2 * tau) / tau, 8 * std::exp(-2.0), 1e-12);
  double low = -1;
  double high = 10;
  for (int i = 0; i < 100; ++i) {
    const double a = (low + high) / 2;
    (g(a) > g(a + 1) ? low : high) = a;
  }
  const UnderRead chain(kTwoPoles, 32000);
  // Flanks of three scans show nearly all of their slope: between 95 % and 100 %.
  EXPECT_GE(chain.bound_of_steepness(1), g(low));
  EXPECT_LE(chain.bound_of_steepness(1), g(low) / 0.95);
  // Less than the plain sum of the spread about the mean delay and half a scan period.
  EXPECT_LT(chain.bound_of_steepness(1), 8 * std::exp(-2.0) * tau + 0.5);
  EXPECT_NEAR(chain.bound_of_span(1).value(), g(low) / (3 - 2 * g(low)), 1e-4);
}

// Without poles a peak between two scans hides half a scan of its slope, and neighbours show all of it.
TEST(PeakBoundTest, IdealChainHidesHalfAScan) {
  const UnderRead ideal({}, 32000);
  EXPECT_NEAR(ideal.bound_of_steepness(1), 0.5, 1e-9);
  EXPECT_NEAR(ideal.bound_of_span(1).value(), 0.25, 1e-9);
}

TEST(PeakBoundTest, SlowChainBoundsNothingBySpan) {
  const std::array<double, 2> slow = {2000, 2000};
  EXPECT_FALSE(UnderRead(slow, 32000).bound_of_span(1).has_value());
}

/// Two first-order lags, level by level on a fine grid; trapezoids, so independent of the table under test.
std::vector<double> filtered(const std::vector<double>& levels, double step_s) {
  std::vector<double> y = levels;
  for (int pole = 0; pole < 2; ++pole) {
    const double k = std::numbers::pi * 14200 * step_s;
    double state = y[0];
    double before = y[0];
    for (double& x : y) {
      state = (state * (1 - k) + k * (x + before)) / (1 + k);
      before = x;
      x = state;
    }
  }
  return y;
}

// Peaks between straight flanks of three scans or more, of any steepness, sampled at any phase: the true extreme lies
// within the bound that the readings give. Each seed prints its figures when it fails.
TEST(PeakBoundTest, HoldsForRandomPeaksAtAnyPhase) {
  const UnderRead chain(kTwoPoles, 32000);
  constexpr int kFine = 64;
  double closest = 0;
  for (unsigned seed = 1; seed <= 200; ++seed) {
    std::mt19937 random(seed);
    const auto uniform = [&](double a, double b) { return std::uniform_real_distribution<double>(a, b)(random); };
    const int fall = static_cast<int>(kFine * uniform(3, 30));
    const int rise = static_cast<int>(kFine * uniform(3, 30));
    const double depth = uniform(0.1, 3);
    const int begin = kFine * 30;
    std::vector<double> levels(static_cast<std::size_t>(begin + fall + rise + kFine * 30), 12.0);
    for (int i = 0; i < fall; ++i) levels[static_cast<std::size_t>(begin + i)] = 12 - depth * (i + 1) / fall;
    for (int i = 0; i < rise; ++i)
      levels[static_cast<std::size_t>(begin + fall + i)] = 12 - depth * (1 - (i + 1.0) / rise);
    const std::vector<double> seen = filtered(levels, 1 / 32000.0 / kFine);
    const int phase = std::uniform_int_distribution<int>(0, kFine - 1)(random);
    std::vector<double> readings;
    for (std::size_t i = static_cast<std::size_t>(phase); i < seen.size(); i += kFine) readings.push_back(seen[i]);
    const auto least = static_cast<std::size_t>(std::ranges::min_element(readings) - readings.begin());
    double steepest = 0;
    for (std::size_t i = least - chain.reach_scans(); i < least + chain.reach_scans(); ++i) {
      steepest = std::max(steepest, std::abs(readings[i + 1] - readings[i]));
    }
    const double hidden = readings[least] - (12 - depth);
    const auto [low, high] = std::minmax_element(readings.begin() + static_cast<std::ptrdiff_t>(least) - 32,
                                                 readings.begin() + static_cast<std::ptrdiff_t>(least) + 32);
    EXPECT_GE(hidden, 0) << "seed " << seed;
    EXPECT_LE(hidden, chain.bound_of_steepness(steepest)) << "seed " << seed;
    EXPECT_LE(hidden, chain.bound_of_span(*high - *low).value()) << "seed " << seed;
    closest = std::max(closest, hidden / chain.bound_of_steepness(steepest));
  }
  // The bound is not idle: the worst peak comes near it.
  EXPECT_GT(closest, 0.8);
}

}  // namespace
}  // namespace host::judge
