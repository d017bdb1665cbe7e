// SPDX-License-Identifier: Apache-2.0
#include "host/calibrate/residual_tests.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <random>
#include <vector>

#include <gtest/gtest.h>
#include <boost/math/distributions/students_t.hpp>

namespace host::calibrate {
namespace {

// Wald-Wolfowitz by counting every arrangement: of 4 above and 5 below there are C(9, 4) = 126.
TEST(RunsTest, AgreesWithCountingEveryArrangement) {
  std::array<int, 9> signs = {0, 0, 0, 0, 0, 1, 1, 1, 1};
  std::array<int, 10> with_at_most{};
  int arrangements = 0;
  do {
    int runs = 1;
    for (std::size_t i = 1; i < signs.size(); ++i) runs += signs[i] != signs[i - 1] ? 1 : 0;
    for (std::size_t most = static_cast<std::size_t>(runs); most < with_at_most.size(); ++most) ++with_at_most[most];
    ++arrangements;
  } while (std::ranges::next_permutation(signs).found);
  ASSERT_EQ(arrangements, 126);
  for (std::size_t runs = 2; runs <= 9; ++runs) {
    EXPECT_NEAR(chance_of_runs(runs, 4, 5), with_at_most[runs] / 126.0, 1e-12) << runs;
  }
}

TEST(RunsTest, CountsRunsAndLeavesZerosOut) {
  const std::array<double, 8> bent = {1, 2, 0, -1, -2, -1, 1, 2};
  const Tested tested = runs_test(bent).value();
  EXPECT_EQ(tested.statistic, 3);
  EXPECT_EQ(tested.effect, 2);
  const std::array<double, 4> above = {1, 1, 1, -1};
  EXPECT_FALSE(runs_test(above));
}

// y = x2 without scatter: the best line over -1, 0, 1 about the middle misses it by 2/3 and 1/3.
TEST(CurvatureTest, EffectIsTheDistanceFromTheLine) {
  std::vector<LinePoint> points;
  for (const double x : {-1.0, 0.0, 1.0}) {
    for (const double noise : {-1e-6, 1e-6}) points.push_back({.x = x, .y = x * x + noise});
  }
  const Tested tested = curvature_test(points).value();
  EXPECT_NEAR(tested.effect, 2.0 / 3, 1e-6);
  EXPECT_LT(tested.chance, 1e-10);
}

// Against the plain normal equations for a + b x + c x2, solved by elimination here.
TEST(CurvatureTest, AgreesWithTheNormalEquations) {
  std::mt19937_64 random(5);
  std::normal_distribution<double> noise(0, 0.01);
  std::vector<LinePoint> points;
  for (int i = 0; i < 14; ++i) {
    const double x = 1 + i % 7;
    points.push_back({.x = x, .y = 0.3 + 1.01 * x + 2e-3 * x * x + noise(random), .weight = 1.0 + i % 3});
  }
  std::array<std::array<double, 6>, 3> m{};  // normal matrix, right side in [3]
  for (const LinePoint& p : points) {
    const std::array<double, 3> row = {1, p.x, p.x * p.x};
    for (std::size_t i = 0; i < 3; ++i) {
      for (std::size_t k = 0; k < 3; ++k) m[i][k] += p.weight * row[i] * row[k];
      m[i][3] += p.weight * row[i] * p.y;
    }
  }
  // Inverse by cofactors.
  const auto cofactor = [&m](std::size_t i, std::size_t k) {
    const std::size_t a = (i + 1) % 3, b = (i + 2) % 3, c = (k + 1) % 3, d = (k + 2) % 3;
    return m[a][c] * m[b][d] - m[a][d] * m[b][c];
  };
  const double determinant = m[0][0] * cofactor(0, 0) + m[0][1] * cofactor(0, 1) + m[0][2] * cofactor(0, 2);
  std::array<double, 3> solved{};
  for (std::size_t i = 0; i < 3; ++i) {
    for (std::size_t k = 0; k < 3; ++k) solved[i] += cofactor(k, i) / determinant * m[k][3];
  }
  double rest = 0;
  for (const LinePoint& p : points) {
    rest += p.weight * std::pow(p.y - solved[0] - solved[1] * p.x - solved[2] * p.x * p.x, 2);
  }
  const double t = solved[2] / std::sqrt(rest / 11 * cofactor(2, 2) / determinant);
  const Tested tested = curvature_test(points).value();
  EXPECT_NEAR(tested.statistic, t, 1e-6 * std::abs(t));
  EXPECT_NEAR(tested.chance, 2 * boost::math::cdf(boost::math::students_t(11), -std::abs(t)), 1e-9);
}

// Grubbs' test as the NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17, works it (from memory): eight mass
// spectrometer readings, G = 2.468765, critical at 5 % to one side 2.032: 10 % to both. Our figure for a mean is
// G sqrt(n / (n - 1)).
TEST(OutlierTest, OfAMeanIsGrubbs) {
  const std::array<double, 8> read = {199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57};
  double mean = 0;
  for (const double value : read) mean += value / 8;
  double squares = 0;
  for (const double value : read) squares += (value - mean) * (value - mean);
  const double g = (245.57 - mean) / std::sqrt(squares / 7);
  EXPECT_NEAR(g, 2.468765, 5e-7);
  EXPECT_NEAR(chance_of_outlier(2.032 * std::sqrt(8.0 / 7), 8, 1), 0.10, 5e-4);
  EXPECT_LT(chance_of_outlier(g * std::sqrt(8.0 / 7), 8, 1), 1e-4);
}

// Noise alone accuses as often as it says.
TEST(OutlierTest, NoiseAloneIsAccusedAsOftenAsSaid) {
  std::mt19937_64 random(11);
  std::normal_distribution<double> noise(0, 1);
  int accused = 0;
  constexpr int kTrials = 4000;
  for (int trial = 0; trial < kTrials; ++trial) {
    std::vector<LinePoint> points;
    for (int i = 0; i < 14; ++i) points.push_back({.x = 1.0 * (i % 7), .y = 3.0 * (i % 7) + noise(random)});
    if (outlier_test(points).value().chance < 0.05) ++accused;
  }
  // 5 % of 4,000, standard deviation 0.34 %; Bonferroni's bound lies a little above.
  EXPECT_NEAR(accused / double{kTrials}, 0.05, 4 * 0.0034);
}

TEST(OutlierTest, NamesThePoint) {
  std::vector<LinePoint> points;
  for (int i = 0; i < 12; ++i) points.push_back({.x = 1.0 * i, .y = 2.0 * i + 1e-3 * (i % 2)});
  points[7].y += 0.5;
  const Tested tested = outlier_test(points).value();
  EXPECT_EQ(tested.place, 7U);
  EXPECT_LT(tested.chance, 1e-6);
  EXPECT_NEAR(tested.effect, 0.5, 2e-3);
  for (LinePoint& point : points) point.y = 2 * point.x;
  EXPECT_FALSE(outlier_test(points));
}

// Up 5 mV above down at every level: the difference is found whole.
TEST(HysteresisTest, IsTheDifferenceBetweenTheWays) {
  std::vector<LinePoint> points;
  std::vector<Direction> ways;
  for (const double x : {1.0, 3.0, 5.0, 8.0, 11.0, 12.0}) {
    points.push_back({.x = x, .y = x + 2.5e-3 + (x > 4 ? 1e-5 : -1e-5)});
    ways.push_back(Direction::kUp);
    points.push_back({.x = x, .y = x - 2.5e-3 - (x > 6 ? 1e-5 : -1e-5)});
    ways.push_back(Direction::kDown);
  }
  const Tested tested = hysteresis_test(points, ways).value();
  EXPECT_NEAR(tested.effect, 2.5e-3, 2e-5);
  EXPECT_LT(tested.chance, 1e-6);
  EXPECT_FALSE(hysteresis_test(points, std::vector<Direction>(12, Direction::kUp)));
}

}  // namespace
}  // namespace host::calibrate
