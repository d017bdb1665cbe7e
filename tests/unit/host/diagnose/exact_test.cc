// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/exact.h"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

namespace host::diagnose {
namespace {

/// Binomial coefficients as whole numbers by Pascal's triangle; exact up to row 60.
std::uint64_t choose(unsigned n, unsigned k) {
  std::vector<std::uint64_t> row{1};
  for (unsigned i = 1; i <= n; ++i) {
    row.push_back(1);
    for (unsigned j = i - 1; j > 0; --j) row[j] += row[j - 1];
  }
  return k > n ? 0 : row[k];
}

/// Fisher's test by counting ways in whole numbers: nothing of it is shared with the code under test.
FisherTest by_counting(const TwoByTwo& table) {
  const auto with = static_cast<unsigned>(table.with_a + table.with_b);
  const auto without = static_cast<unsigned>(table.without_a + table.without_b);
  const auto in_b = static_cast<unsigned>(table.with_b + table.without_b);
  const auto ways = [&](unsigned k) -> std::uint64_t {
    return k > with || in_b - k > without ? 0 : choose(with, k) * choose(without, in_b - k);
  };
  const std::uint64_t here = ways(static_cast<unsigned>(table.with_b));
  std::uint64_t as_rare = 0;
  std::uint64_t fewer = 0;
  std::uint64_t all = 0;
  for (unsigned k = 0; k <= in_b; ++k) {
    all += ways(k);
    if (ways(k) <= here) as_rare += ways(k);
    if (k <= table.with_b) fewer += ways(k);
  }
  return {static_cast<double>(as_rare) / static_cast<double>(all),
          static_cast<double>(fewer) / static_cast<double>(all)};
}

// Fisher, The Design of Experiments (1935), the lady tasting tea: three of four cups told right, 17 of 70 ways or
// better.
TEST(FisherTest, TellsTheLadyTastingTea) {
  const FisherTest found = fisher({3, 1, 1, 3});
  EXPECT_NEAR(found.two_sided, 34.0 / 70, 1e-12);
  EXPECT_NEAR(found.fewer_in_b, 17.0 / 70, 1e-12);
}

// The example of SciPy's documentation of stats.fisher_exact, table [[6, 2], [1, 4]]: p = 0.10256410256410257 (from
// memory; by hand 176 of 1716 ways).
TEST(FisherTest, AgreesWithAPrintedExample) {
  EXPECT_NEAR(fisher({6, 2, 1, 4}).two_sided, 0.10256410256410257, 1e-12);
}

TEST(FisherTest, AgreesWithCountingInWholeNumbersForEverySmallTable) {
  for (std::uint64_t a = 0; a <= 6; ++a) {
    for (std::uint64_t b = 0; b <= 7; ++b) {
      for (std::uint64_t c = 0; c <= 6; ++c) {
        for (std::uint64_t d = 0; d <= 9; d += 3) {
          const TwoByTwo table{a, b, c, d};
          if (a + b + c + d == 0) continue;
          const FisherTest found = fisher(table);
          const FisherTest expected = by_counting(table);
          EXPECT_NEAR(found.two_sided, expected.two_sided, 1e-10) << a << ' ' << b << ' ' << c << ' ' << d;
          EXPECT_NEAR(found.fewer_in_b, expected.fewer_in_b, 1e-10) << a << ' ' << b << ' ' << c << ' ' << d;
        }
      }
    }
  }
}

TEST(FisherTest, AgreesWithCountingForAFewLockUpsInManyMinutes) {
  const TwoByTwo table{5, 24, 0, 30};
  EXPECT_NEAR(fisher(table).two_sided, by_counting(table).two_sided, 1e-10);
  EXPECT_NEAR(fisher(table).fewer_in_b, by_counting(table).fewer_in_b, 1e-10);
}

TEST(FisherTest, WithoutLockUpsOrExposureNothingIsSaid) {
  for (const TwoByTwo& table : {TwoByTwo{}, {0, 5, 0, 5}, {3, 0, 4, 0}, {2, 3, 0, 0}}) {
    EXPECT_EQ(fisher(table).two_sided, 1);
    EXPECT_EQ(fisher(table).fewer_in_b, 1);
  }
}

// Bounds by their definition: at the low one as many or more happen with 2.5 %, at the high one as many or fewer.
// Poisson sums written out.
TEST(PoissonBoundsTest, AreWhereTheTailsAreTwoAndAHalfPercent) {
  const auto at_most = [](std::uint64_t n, double mean) {
    double term = std::exp(-mean);
    double sum = 0;
    for (std::uint64_t k = 0; k <= n; ++k) {
      sum += term;
      term *= mean / static_cast<double>(k + 1);
    }
    return sum;
  };
  for (const std::uint64_t count : {0U, 1U, 3U, 20U}) {
    const Bounds found = rate_bounds_per_h(count, 2.5, 0.95);
    ASSERT_TRUE(found.high);
    EXPECT_NEAR(at_most(count, *found.high * 2.5), 0.025, 1e-9);
    if (count == 0) continue;
    EXPECT_NEAR(1 - at_most(count - 1, found.low * 2.5), 0.025, 1e-9);
  }
  EXPECT_EQ(rate_bounds_per_h(0, 5, 0.95).low, 0);
  EXPECT_FALSE(rate_bounds_per_h(3, 0, 0.95).high);
}

// Given n events in all, B's share is binomial with p = r / (1 + r) for equal exposures; tails written out.
TEST(RateRatioTest, BoundsAreWhereTheTailsAreTwoAndAHalfPercent) {
  const auto at_most = [](unsigned k, unsigned n, double p) {
    double sum = 0;
    for (unsigned i = 0; i <= k; ++i) {
      sum += static_cast<double>(choose(n, i)) * std::pow(p, i) * std::pow(1 - p, n - i);
    }
    return sum;
  };
  const Bounds found = rate_ratio_bounds(6, 1, 2, 1, 0.95);
  ASSERT_TRUE(found.high);
  EXPECT_NEAR(at_most(2, 8, *found.high / (1 + *found.high)), 0.025, 1e-9);
  EXPECT_NEAR(1 - at_most(1, 8, found.low / (1 + found.low)), 0.025, 1e-9);
  // Twice the exposure in B at the same counts: half the ratio.
  EXPECT_NEAR(*rate_ratio_bounds(6, 1, 2, 2, 0.95).high, *found.high / 2, 1e-12);
  EXPECT_FALSE(rate_ratio_bounds(0, 1, 2, 1, 0.95).high);
  EXPECT_FALSE(rate_ratio_bounds(0, 1, 0, 1, 0.95).high);
}

}  // namespace
}  // namespace host::diagnose
