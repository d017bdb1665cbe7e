// SPDX-License-Identifier: Apache-2.0
#include "host/selftest/edge.h"

#include <array>
#include <cmath>

#include <gtest/gtest.h>

namespace host::selftest {
namespace {

constexpr double kScanS = 1.0 / 32000;

/// Two equal poles: 1 - (1 + x) exp(-x), x in time constants: 0.2642 at 1, 0.5940 at 2 (any table of the gamma
/// distribution of shape 2). One pole: 1 - exp(-1) = 0.6321. Poles of 1 and 2: 1 - 2 exp(-t/2) + exp(-t).
TEST(StepResponseTest, IsThatOfItsPoles) {
  const std::array<double, 2> equal{1e-5, 1e-5};
  EXPECT_NEAR(step_response(1e-5, equal), 0.264241, 1e-6);
  EXPECT_NEAR(step_response(2e-5, equal), 0.593994, 1e-6);
  EXPECT_NEAR(step_response(1e-5, std::array{1e-5}), 0.632121, 1e-6);
  EXPECT_NEAR(step_response(2, std::array{1.0, 2.0}), 1 - 2 * std::exp(-1.0) + std::exp(-2.0), 1e-12);
  EXPECT_EQ(step_response(-1e-9, equal), 0);
}

TEST(StepInstantTest, FindsTheStepBetweenTwoScans) {
  const std::array<double, 2> constants{1 / (2 * M_PI * 14182), 1 / (2 * M_PI * 14210)};
  for (const double instant : {99.2, 99.5, 99.99, 100.0, 100.4}) {
    const double before = step_response((100 - instant) * kScanS, constants);
    const double after = step_response((101 - instant) * kScanS, constants);
    const auto found = step_instant(100, before, after, kScanS, constants);
    ASSERT_TRUE(found.has_value()) << instant;
    EXPECT_NEAR(*found, instant, 0.01) << "0.3 us";
  }
}

TEST(StepInstantTest, RefusesWhatIsNoStep) {
  const std::array<double, 2> constants{1.12e-5, 1.12e-5};
  EXPECT_FALSE(step_instant(100, 0.1, 0.2, kScanS, constants).has_value()) << "a slope";
  EXPECT_FALSE(step_instant(100, 0.9, 0.1, kScanS, constants).has_value());
}

}  // namespace
}  // namespace host::selftest
