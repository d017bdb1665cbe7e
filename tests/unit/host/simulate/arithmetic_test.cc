// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/arithmetic.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace host::simulate {
namespace {

// Expected values: the C library of this machine.
TEST(ArithmeticTest, SineAgreesWithTheLibrary) {
  for (int i = -3000; i <= 3000; ++i) {
    const double turns = i * 0.00137;
    EXPECT_NEAR(sine_of_turns(turns), std::sin(2 * std::numbers::pi * turns), 1e-9) << turns;
  }
}

TEST(ArithmeticTest, ExponentialAgreesWithTheLibrary) {
  for (int i = -600; i <= 600; ++i) {
    const double x = i * 1.01;
    EXPECT_NEAR(exponential(x) / std::exp(x), 1, 1e-13) << x;
  }
}

TEST(ArithmeticTest, LogarithmAgreesWithTheLibrary) {
  for (double x = 1e-17; x < 1e17; x *= 1.37)
    EXPECT_NEAR(logarithm(x), std::log(x), 1e-13 * (1 + std::abs(std::log(x))));
}

}  // namespace
}  // namespace host::simulate
