// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/evidence.h"

#include <cmath>
#include <numeric>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace host::diagnose {
namespace {

std::vector<Look> looks(double base, int hits, int lockups) {
  std::vector<Look> out(static_cast<std::size_t>(lockups), Look{base, false});
  for (int i = 0; i < hits; ++i) out[static_cast<std::size_t>(i)].hit = true;
  return out;
}

// Chance of an event in a window of 2 s at so many an hour.
double base_of(double per_h) {
  return 1 - std::exp(-per_h * 2 / 3600);
}

struct Worked {
  double per_h;
  int hits;
  int lockups;
  double ratio;
  double p;
};

// Closed forms worked out in Python with 9 digits: q = 0.8, window 2 s; P(Bin(n, p0) >= hits).
TEST(EvidenceTest, AgreesWithWorkedExamples) {
  for (const Worked& one : {Worked{6, 3, 3, 13893273.79, 3.6852e-8}, Worked{600, 3, 3, 22.477845071, 0.022777984},
                            Worked{6, 0, 3, 0.008080401, 1.0}, Worked{6, 2, 3, 11597.045831829, 3.3149e-5},
                            Worked{0.6, 1, 1, 2400.400022222, 0.000333278}}) {
    const auto seen = looks(base_of(one.per_h), one.hits, one.lockups);
    EXPECT_NEAR(likelihood_ratio(seen, 0.8) / one.ratio, 1, 1e-7) << one.per_h;
    EXPECT_NEAR(p_value(seen) / one.p, 1, 1e-4) << one.per_h;
  }
  EXPECT_EQ(likelihood_ratio({}, 0.8), 1);
  EXPECT_EQ(p_value({}), 1);
}

// Exact Poisson bounds: chi2 quantiles of the printed tables, 5.991 for 2 and 18.307 for 10 degrees of freedom at 95 %
// (NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.4).
TEST(EvidenceTest, BoundsTheRateOfAPoissonProcess) {
  EXPECT_NEAR(rate_upper_per_h(0, 5, 0.95), 5.991 / 2 / 5, 1e-4);
  EXPECT_NEAR(rate_upper_per_h(4, 2, 0.95), 18.307 / 2 / 2, 2e-4);
  // "Rule of three": no event in T hours bounds the rate by 3 / T (-ln 0.05 = 2.9957).
  EXPECT_NEAR(rate_upper_per_h(0, 1, 0.95), -std::log(0.05), 1e-12);
  EXPECT_TRUE(std::isinf(rate_upper_per_h(0, 0, 0.95)));
}

// Clopper and Pearson have closed forms at the ends: no hit in m windows, 1 - (1 - c)^(1/m).
TEST(EvidenceTest, BoundsTheBaseChance) {
  EXPECT_NEAR(base_chance_upper(0, 200, 0.95), 1 - std::pow(0.05, 1.0 / 200), 1e-12);
  EXPECT_EQ(base_chance_upper(7, 7, 0.95), 1);
  EXPECT_EQ(base_chance_upper(0, 0, 0.95), 1);
  // By its definition: at the bound, as few hits as were seen have a chance of 5 %.
  const double bound = base_chance_upper(3, 200, 0.95);
  double few = 0;
  for (int k = 0; k <= 3; ++k) {
    few += std::exp(std::lgamma(201) - std::lgamma(k + 1) - std::lgamma(201 - k) + k * std::log(bound) +
                    (200 - k) * std::log1p(-bound));
  }
  EXPECT_NEAR(few, 0.05, 1e-10);
  EXPECT_DOUBLE_EQ(base_chance(3, 200), 3.5 / 201);
}

TEST(EvidenceTest, CountsEveryWayToHitWithBasesThatDiffer) {
  // By hand for bases 0.1, 0.2, 0.5 and two hits: 0.1*0.2*0.5 + 0.1*0.8*0.5 + 0.9*0.2*0.5 + all three 0.01.
  const std::vector<Look> three{{0.1, true}, {0.2, false}, {0.5, true}};
  EXPECT_NEAR(p_value(three), 0.01 + 0.04 + 0.09 + 0.01, 1e-15);
  EXPECT_NEAR(likelihood_ratio(three, 0.8), 8 * (0.2 / 0.8) * 1.6, 1e-12);
  EXPECT_EQ(after_looks(0.02, 3), 0.06);
  EXPECT_EQ(after_looks(0.4, 3), 1);
}

// A likelihood ratio of what really happens by chance has mean 1, whatever q is (each lock-up: p q/p +
// (1-p)(1-q)/(1-p)).
TEST(EvidenceTest, InnocentLockupsHaveAMeanRatioOfOne) {
  constexpr unsigned kSeed = 20260101;
  std::mt19937 chance(kSeed);
  std::uniform_real_distribution<double> uniform;
  constexpr int kTrials = 200'000;
  double sum = 0;
  double squares = 0;
  for (int i = 0; i < kTrials; ++i) {
    auto seen = looks(0.2, 0, 3);
    for (Look& look : seen) look.hit = uniform(chance) < look.base;
    const double ratio = likelihood_ratio(seen, 0.8);
    sum += ratio;
    squares += ratio * ratio;
  }
  const double mean = sum / kTrials;
  const double deviation = std::sqrt((squares / kTrials - mean * mean) / kTrials);
  EXPECT_NEAR(mean, 1, 4 * deviation) << "seed " << kSeed;
}

TEST(EvidenceTest, OneLockupIsNeverVeryStrong) {
  EXPECT_EQ(strength(0.05, 3), Strength::kAgainst);
  EXPECT_EQ(strength(1, 3), Strength::kNoInformation);
  EXPECT_EQ(strength(22.5, 3), Strength::kWeak);
  EXPECT_EQ(strength(2400, 1), Strength::kStrong);
  EXPECT_EQ(strength(1e7, 1), Strength::kStrong);
  EXPECT_EQ(strength(1e7, 3), Strength::kVeryStrong);
}

}  // namespace
}  // namespace host::diagnose
