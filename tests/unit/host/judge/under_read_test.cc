// SPDX-License-Identifier: Apache-2.0
#include "host/judge/under_read.h"

#include <array>
#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

namespace host::judge {
namespace {

constexpr std::array<double, 2> kTwoPoles = {14200, 14200};

// Closed form of two equal poles, s(t) = 1 - e^(-t/tau)(1 + t/tau), sampled at 32 kS/s over 201 phases with NumPy; the
// figures printed to nine digits.
TEST(UnderReadTest, TwoEqualPolesAgreeWithTheClosedForm) {
  const UnderRead chain(kTwoPoles, 32000);
  EXPECT_NEAR(chain.worst_fraction(20e-6), 0.286118186, 1e-8);
  EXPECT_NEAR(chain.worst_fraction(31.25e-6), 0.467057389, 1e-8);
  EXPECT_NEAR(chain.worst_fraction(50e-6), 0.733951077, 1e-8);
  EXPECT_NEAR(chain.worst_fraction(100e-6), 0.986609422, 1e-8);
  EXPECT_NEAR(chain.worst_fraction(200e-6), 0.999995417, 1e-8);
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
  // 200 phases a scan period: the worst one is met to 0.5 % of a period.
  EXPECT_NEAR(UnderRead(pole, 32000).worst_fraction(width), 1 - std::exp(-(width - lo) / tau), 0.002);
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

// By hand from the fractions above: 0.5 V sampled at 0.733951 hides 0.5 (1/0.733951 - 1) = 0.18124 V.
TEST(UnderReadTest, BoundFollowsTheFraction) {
  const UnderRead chain(kTwoPoles, 32000);
  EXPECT_NEAR(chain.bound(0.5, 50e-6).value(), 0.18124, 1e-5);
  EXPECT_NEAR(chain.bound_of_samples(0.5, 2).value(), 0.5 * (1 / 0.467057389 - 1), 1e-7);
  EXPECT_LT(chain.bound_of_samples(0.5, 1000).value(), 1e-8);
}

TEST(UnderReadTest, OneSampleBoundsNothing) {
  const UnderRead chain(kTwoPoles, 32000);
  EXPECT_FALSE(chain.bound_of_samples(0.5, 1).has_value());
  EXPECT_FALSE(chain.bound_of_samples(0.5, 0).has_value());
  EXPECT_FALSE(chain.bound(0.5, 0).has_value());
}

}  // namespace
}  // namespace host::judge
