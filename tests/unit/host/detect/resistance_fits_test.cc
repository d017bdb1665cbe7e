// SPDX-License-Identifier: Apache-2.0
// The fits behind resistances, against worked examples made by other hands: SciPy's theilslopes and NumPy's polyfit,
// and closed forms. Tolerances are half of the last digit printed there.
#include <cmath>
#include <random>

#include <gtest/gtest.h>

#include "host/detect/contact.h"
#include "host/detect/output_resistance.h"
#include "host/detect/robust_fit.h"
#include "host/detect/theil_sen.h"

namespace host::detect {
namespace {

using Column = std::vector<double>;

// scipy.stats.theilslopes(V, I, 0.95) of 12.1 V - 9.2 mohm I with two gross outliers; the least-squares slope that they
// spoil, 8.601 mohm, is numpy.polyfit's.
TEST(TheilSenTest, TwoOutliersOfTenDoNotMoveIt) {
  const Column amps{2, 5, 8, 11, 14, 17, 20, 23, 26, 29};
  const Column volts{12.0826, 12.052, 12.0279, 11.6488, 11.9702, 11.9456, 11.9145, 11.7394, 11.8608, 11.8327};
  const auto line = theil_sen(amps, volts, kLeastPairA);
  ASSERT_TRUE(line);
  EXPECT_NEAR(-line->slope, 9.241666667e-3, 5e-13);
  EXPECT_NEAR(-line->high, 8.950000000e-3, 5e-13);
  EXPECT_NEAR(-line->low, 9.616666667e-3, 5e-13);
  EXPECT_NEAR(line->intercept, 12.100145833, 5e-10);
  EXPECT_EQ(line->pairs, 45U);
}

// Kendall's variance n (n-1) (2n+5) / 18 holds without ties; with all x equal but two there is one pair, and its slope
// is both ends of the interval.
TEST(TheilSenTest, TiesAndShortDistancesTellNothing) {
  EXPECT_FALSE(theil_sen(Column{5, 5, 5, 5}, Column{1, 2, 3, 4}, 0.5));
  EXPECT_FALSE(theil_sen(Column{5, 5.2, 5.4}, Column{1, 2, 3}, 0.5));
  EXPECT_FALSE(theil_sen(Column{5, 9}, Column{1, 2}, 0.5));
  const auto line = theil_sen(Column{5, 5.1, 7}, Column{1, 1, 3}, 1.95);
  ASSERT_TRUE(line);
  EXPECT_EQ(line->pairs, 1U);
  EXPECT_DOUBLE_EQ(line->slope, 1);
}

TEST(TheilSenTest, DrawnPairsOfManyPointsAgreeWithTheLineAndRepeat) {
  std::mt19937 random(7);
  std::normal_distribution<double> noise(0, 1e-3);
  std::uniform_real_distribution<double> load(5, 25);
  Column amps, volts;
  for (int i = 0; i < 1000; ++i) {
    amps.push_back(load(random));
    volts.push_back(12.1 - 0.01 * amps.back() + noise(random));
  }
  const auto line = theil_sen(amps, volts, 0.5);
  ASSERT_TRUE(line);
  // Least squares of the same: sigma / (sqrt(n) spread) = 1 mV / (31.6 x 5.8 A) = 5.5 uohm.
  EXPECT_NEAR(-line->slope, 10e-3, 4 * 5.5e-6);
  EXPECT_LT(line->low, line->slope);
  EXPECT_GT(line->high, line->slope);
  EXPECT_NEAR(line->high - line->low, 2 * 1.96 * 5.5e-6, 0.4 * 2 * 1.96 * 5.5e-6);
  EXPECT_EQ(theil_sen(amps, volts, 0.5)->slope, line->slope);
}

// The interval is one: over 400 seeded sets it must hold the true slope in about 95 of 100 (binomial: 380 +- 13).
TEST(TheilSenTest, IntervalHoldsTheTruthAsOftenAsItSays) {
  int held = 0;
  for (unsigned seed = 0; seed < 400; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> noise(0, 1e-3);
    std::uniform_int_distribution<int> level(2, 10);
    Column amps, volts;
    for (int i = 0; i < 25; ++i) {
      amps.push_back(2.5 * level(random) + 0.01 * i);
      volts.push_back(12 - 0.012 * amps.back() + noise(random));
    }
    const auto line = theil_sen(amps, volts, 0.5);
    ASSERT_TRUE(line);
    held += line->low <= -0.012 && -0.012 <= line->high;
  }
  EXPECT_GE(held, 380 - 14);
  EXPECT_LE(held, 380 + 14);
}

// Steady state of a shared transformer with one error amplifier, weights 0.6 / 0.4, 20 and 12 mohm:
//   V12 = 12 - w5 R12 I12 + 2.4 w5 R5 I5,  V5 = 5 - w12 R5 I5 + (5 / 12) w12 R12 I12
// in mV/A: -8, +11.52, +5, -7.2; V12 = 11.94112 and V5 = 5.0368 at 16 and 6 A, which ngspice gave too.
TEST(RobustFitTest, CrossRegulationOfASharedTransformer) {
  Column i12, i5, v12, v5;
  for (int a = 2; a <= 20; a += 3) {
    for (int b = 1; b <= 7; b += 2) {
      i12.push_back(a);
      i5.push_back(b);
      v12.push_back(12 - 0.4 * 0.02 * a + 2.4 * 0.4 * 0.012 * b);
      v5.push_back(5 - 0.6 * 0.012 * b + 5.0 / 12 * 0.6 * 0.02 * a);
    }
  }
  v12[5] -= 0.3;  // two contacts that opened
  v5[11] += 0.2;
  EXPECT_NEAR(condition_number({i12, i5}), 1, 1e-9);
  const auto twelve = robust_fit({i12, i5}, v12);
  const auto five = robust_fit({i12, i5}, v5);
  ASSERT_TRUE(twelve && five);
  EXPECT_NEAR(twelve->slopes[0], -0.008, 5e-7);
  EXPECT_NEAR(twelve->slopes[1], 0.01152, 5e-7);
  EXPECT_NEAR(five->slopes[0], 0.005, 5e-7);
  EXPECT_NEAR(five->slopes[1], -0.0072, 5e-7);
  EXPECT_NEAR(twelve->constant + twelve->slopes[0] * 16 + twelve->slopes[1] * 6, 11.94112, 5e-6);
  EXPECT_NEAR(five->constant + five->slopes[0] * 16 + five->slopes[1] * 6, 5.0368, 5e-6);
}

// Fifteen points, a third of them wrong: the rounds creep, and after 100 of them the slope is still 0.2 mohm off.
// Figures by tests/reference/detectors/robust.py, which goes on until nothing moves.
TEST(RobustFitTest, GoesOnUntilNothingMoves) {
  const Column a{28.71, 8.25, 14.15, 9.71, 15.86, 16.03, 16.44, 17.76, 6.51, 1.12, 5.95, 28.53, 7.77, 18.16, 17.82};
  const Column b{8.77, 6.65, 15.49, 7.34, 17.31, 2.85, 3.09, 17.16, 22.19, 5.87, 23.82, 6.55, 3.81, 13.6, 13.99};
  const Column volts{11.3067, 11.6482, 11.8656, 11.952,  11.8378, 11.9018, 11.8965, 11.8158,
                     11.69,   12.0608, 11.9223, 11.7411, 11.9945, 11.4367, 11.8301};
  const auto fit = robust_fit({a, b}, volts);
  ASSERT_TRUE(fit);
  EXPECT_NEAR(fit->constant, 12.100680857, 1e-8);
  EXPECT_NEAR(fit->slopes[0], -0.012008744, 1e-8);
  EXPECT_NEAR(fit->slopes[1], -0.005208065, 1e-8);
}

// cos of the angle between two centred columns is r; the singular values are sqrt(1 +- r).
TEST(RobustFitTest, ConditionNumberOfTwoColumnsFollowsFromTheirCorrelation) {
  const Column x{1, 2, 3, 4};
  const Column y{1, 3, 2, 5};
  const double r = 5.5 / std::sqrt(5 * 8.75);
  EXPECT_NEAR(condition_number({x, y}), std::sqrt((1 + r) / (1 - r)), 1e-12);
  EXPECT_TRUE(std::isinf(condition_number({x, {2, 4, 6, 8}})));
  EXPECT_TRUE(std::isinf(condition_number({x, {7, 7, 7, 7}})));
  EXPECT_FALSE(robust_fit({x, {7, 7, 7, 7}}, x));
  EXPECT_FALSE(robust_fit({x, y}, Column{1, 2, 3}));
}

// What a fit says of its own spread against the spread of 500 fits.
TEST(RobustFitTest, StandardErrorIsTheSpreadOfRepeatedFits) {
  std::mt19937 random(3);
  std::normal_distribution<double> noise(0, 2e-3);
  double told = 0;
  double squares = 0;
  constexpr int kSets = 500;
  for (int set = 0; set < kSets; ++set) {
    Column x, z, y;
    for (int i = 0; i < 40; ++i) {
      x.push_back(i % 8 * 3.0);
      z.push_back(i % 5 * 2.0);
      y.push_back(0.1 - 0.044 * x.back() + 0.01 * z.back() + noise(random));
    }
    const auto fit = robust_fit({x, z}, y);
    ASSERT_TRUE(fit);
    told += fit->slopes_u[0] / kSets;
    squares += std::pow(fit->slopes[0] + 0.044, 2) / kSets;
  }
  // Spread of 500 slopes against what each fit said of itself; 500 sets tell a spread to 3.2 % (1 / sqrt(2 n)).
  EXPECT_NEAR(std::sqrt(squares) / told, 1, 4 * 0.032);
}

// Two wires, 44 and 10 mohm: y = V_A - V_B at 5 to 25 A against 8 A; numpy.polyfit gave 44.0, the offset over 8 A 10.0.
TEST(ContactTest, TwoWireCaseFromSlopeAndOffset) {
  const Column amps_a{5, 10, 15, 20, 25};
  const Column amps_b(5, 8.0);
  const Column y{-0.14, -0.36, -0.58, -0.80, -1.02};
  const auto fit = fit_contact(y, amps_a, amps_b, 0.021);
  ASSERT_TRUE(fit);
  EXPECT_NEAR(fit->a_ohm, 44.0e-3, 5e-5);
  ASSERT_TRUE(fit->b_ohm);
  EXPECT_NEAR(*fit->b_ohm, 10.0e-3, 5e-5);
  EXPECT_TRUE(fit->b_from_offset);
  EXPECT_NEAR(fit->b_u, 0.0105 / 8, 1e-9);  // 21 mV of expanded uncertainty over 8 A, one standard deviation
  const double excess = fit->a_ohm - 9e-3;
  EXPECT_NEAR(excess, 35.0e-3, 5e-5);
  EXPECT_NEAR(excess * 25 * 25, 21.875, 0.03);
}

TEST(ContactTest, BothLoadsMovingTellBothWires) {
  Column amps_a, amps_b, y;
  for (int a = 5; a <= 25; a += 5) {
    for (int b = 4; b <= 16; b += 4) {
      amps_a.push_back(a);
      amps_b.push_back(b);
      y.push_back(3e-3 - 43.995e-3 * a + 9.998e-3 * b);
    }
  }
  const auto fit = fit_contact(y, amps_a, amps_b, 0.02);
  ASSERT_TRUE(fit);
  EXPECT_NEAR(fit->a_ohm, 43.995e-3, 5e-9);
  EXPECT_NEAR(*fit->b_ohm, 9.998e-3, 5e-9);
  EXPECT_NEAR(fit->offset_v, 3e-3, 1e-9);
  EXPECT_FALSE(fit->b_from_offset);
}

TEST(ContactTest, LoadsThatMoveTogetherAreRefused) {
  Column amps_a, amps_b, y;
  for (int a = 5; a <= 25; ++a) {
    amps_a.push_back(a);
    amps_b.push_back(0.4 * a + 1);
    y.push_back(-0.03 * a);
  }
  EXPECT_FALSE(fit_contact(y, amps_a, amps_b, 0.02));
  const auto alone = fit_contact(y, amps_a, {}, 0.02);
  ASSERT_TRUE(alone);
  EXPECT_FALSE(alone->b_ohm);
}

TEST(OutputResistanceTest, RefusesTooFewOrTooNarrowLevels) {
  EXPECT_EQ(too_little_spread(Column{5, 7, 9, 11, 13}), "");
  EXPECT_NE(too_little_spread(Column{5, 5.6, 6.2, 6.8, 7.4}), "");  // 2.4 A
  EXPECT_NE(too_little_spread(Column{5, 5.1, 5.2, 25, 25.1}), "");  // two levels
  EXPECT_NE(too_little_spread(Column{}), "");
  EXPECT_EQ(distinct_levels(Column{5, 5.1, 5.2, 25, 25.1}, 0.5), 2U);
}

// Errors in variables: noise of 1 A on currents with a variance of 2.5 A^2 leaves 1 / (1 + 1 / 2.5) of a slope.
TEST(OutputResistanceTest, AttenuationFollowsFromNoiseAndSpread) {
  EXPECT_NEAR(attenuation(Column{1, 2, 3, 4, 5}, 1), 1 / 1.4, 1e-12);
  EXPECT_EQ(attenuation(Column{4, 4}, 1), 0);
}

}  // namespace
}  // namespace host::detect
