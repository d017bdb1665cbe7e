// SPDX-License-Identifier: Apache-2.0
// Published intervals: R. G. Newcombe, Two-sided confidence intervals for the single proportion, Statistics in Medicine
// 17 (1998), Table I, methods 3 (score) and 5 (exact); from memory. Closed forms where there are any.
#include "tests/trial/rates.h"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

namespace trial {
namespace {

struct Published {
  std::uint64_t count, n;
  Interval score, exact;
};

TEST(RatesTest, SharesAreThePublishedOnes) {
  const Published rows[] = {{81, 263, {0.2553, 0.3662}, {0.2527, 0.3676}},
                            {15, 148, {0.0624, 0.1605}, {0.0578, 0.1617}},
                            {0, 20, {0.0000, 0.1611}, {0.0000, 0.1684}},
                            {1, 29, {0.0061, 0.1718}, {0.0009, 0.1776}}};
  for (const Published& row : rows) {
    SCOPED_TRACE(row.count);
    EXPECT_NEAR(wilson_share(row.count, row.n).low, row.score.low, 0.5e-4);
    EXPECT_NEAR(wilson_share(row.count, row.n).high, row.score.high, 0.5e-4);
    EXPECT_NEAR(exact_share(row.count, row.n).low, row.exact.low, 0.5e-4);
    EXPECT_NEAR(exact_share(row.count, row.n).high, row.exact.high, 0.5e-4);
  }
}

// None of n: the upper bound p leaves a chance of (1 - p)^n = 2.5 % of none; all of n mirrors it.
TEST(RatesTest, NoneAndAllFollowTheClosedForm) {
  for (const std::uint64_t n : {1U, 22U, 2000U}) {
    const double none = 1 - std::pow(0.025, 1 / static_cast<double>(n));
    EXPECT_NEAR(exact_share(0, n).high, none, 1e-9);
    EXPECT_NEAR(exact_share(n, n).low, 1 - none, 1e-9);
  }
  EXPECT_EQ(exact_share(0, 0).low, 0);
  EXPECT_EQ(exact_share(0, 0).high, 1);
}

// Four of two thousand are the most the goal allows: by the binomial sum, no more than 4 come with 2.5 % at the upper
// bound.
TEST(RatesTest, BoundOfTheGoalLeavesTheTail) {
  const double p = exact_share(4, 2000).high;
  double term = std::pow(1 - p, 2000);
  double sum = term;
  for (int k = 1; k <= 4; ++k) {
    term *= (2000.0 - k + 1) / k * p / (1 - p);
    sum += term;
  }
  EXPECT_NEAR(sum, 0.025, 1e-9);
}

// The standard error of a mean is s / sqrt(n); the percentile interval of a large sample is 1.96 of it each way.
TEST(RatesTest, BootstrapIsTwoStandardErrorsWide) {
  std::vector<double> values;
  for (int i = 0; i < 1000; ++i) values.push_back(i % 10);
  const Interval interval = bootstrap_mean(values, 3);
  const double half = 1.96 * std::sqrt(8.25 / 1000);  // variance of 0..9: (100 - 1) / 12
  EXPECT_NEAR(interval.low, 4.5 - half, 0.1 * half);
  EXPECT_NEAR(interval.high, 4.5 + half, 0.1 * half);
  EXPECT_EQ(mean_of(values), 4.5);
}

}  // namespace
}  // namespace trial
