// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/random.h"

#include <gtest/gtest.h>

#include <cmath>

namespace host::simulate {
namespace {

// Moments of a normal distribution; the bands are five standard errors for the number of draws.
TEST(RandomTest, NormalHasTheMomentsOfANormal) {
  Random random(11, 0);
  constexpr int kDraws = 400000;
  double sum = 0;
  double square = 0;
  double fourth = 0;
  int beyond_three = 0;
  for (int i = 0; i < kDraws; ++i) {
    const double x = random.normal();
    sum += x;
    square += x * x;
    fourth += x * x * x * x;
    beyond_three += std::abs(x) > 3;
  }
  EXPECT_NEAR(sum / kDraws, 0, 5 / std::sqrt(kDraws));
  EXPECT_NEAR(square / kDraws, 1, 5 * std::sqrt(2.0 / kDraws));
  EXPECT_NEAR(fourth / kDraws, 3, 0.04 + 5 * std::sqrt(96.0 / kDraws));  // 0.04: stated excess kurtosis
  EXPECT_NEAR(beyond_three / double{kDraws}, 0.0027, 0.0005);            // 2 (1 - Phi(3)) = 0.0027
}

TEST(RandomTest, ExponentialHasItsMean) {
  Random random(12, 0);
  double sum = 0;
  constexpr int kDraws = 100000;
  for (int i = 0; i < kDraws; ++i) sum += random.exponential_of_mean(2);
  EXPECT_NEAR(sum / kDraws, 2, 5 * 2 / std::sqrt(kDraws));
}

TEST(RandomTest, StreamsOfOneSeedDiffer) {
  Random first(1, 0);
  Random second(1, 1);
  EXPECT_NE(first.bits(), second.bits());
}

}  // namespace
}  // namespace host::simulate
