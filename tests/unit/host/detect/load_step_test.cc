// SPDX-License-Identifier: Apache-2.0
#include "host/detect/load_step.h"

#include <cmath>
#include <random>

#include <gtest/gtest.h>

namespace host::detect {
namespace {

std::vector<double> ramp(std::size_t scans, double from, double to, std::size_t at, std::size_t edge) {
  std::vector<double> amps(scans, from);
  for (std::size_t i = at; i < scans; ++i) {
    amps[i] = i < at + edge ? from + (to - from) * static_cast<double>(i - at) / static_cast<double>(edge) : to;
  }
  return amps;
}

// By hand, and the same with NumPy: 5 to 25 A over three scans from 1000. D = 20 A on the plateau 999..1001, middle
// 1000; half-way at 1001.5; 10 % to 90 % takes 2.4 scans, 0.8 x 20 A / 75 us = 0.2133 A/us, a bound as it is under
// three scans.
TEST(FindStepsTest, RampOfThreeScans) {
  const auto steps = find_steps(ramp(2000, 5, 25, 1000, 3), {});
  ASSERT_EQ(steps.size(), 1U);
  EXPECT_EQ(steps[0].at, 1000U);
  EXPECT_NEAR(steps[0].step, 20, 1e-9);
  EXPECT_NEAR(steps[0].t50, 1001.5, 1e-9);
  EXPECT_NEAR(slew(steps[0], 32000) * 1e-6, 0.213333333, 1e-8);
  EXPECT_TRUE(steps[0].slew_is_bound);
}

// By hand: 0 to 16 A at once at 30 gives D = 16 A on 26..30. One ampere more at 27 and less at 28 lowers D[28] alone,
// by 1/16 A: two plateaus of one height, 26..27 and 29..30, and still one edge.
TEST(FindStepsTest, PlateauPartedByNoiseIsOneStep) {
  std::vector<double> amps = ramp(80, 0, 16, 30, 0);
  amps[27] = 1;
  amps[28] = -1;
  const auto steps = find_steps(amps, {});
  ASSERT_EQ(steps.size(), 1U);
  EXPECT_EQ(steps[0].at, 26U);
  EXPECT_DOUBLE_EQ(steps[0].step, 16);
}

TEST(FindStepsTest, FallingIsTheMirror) {
  const auto steps = find_steps(ramp(2000, 25, 5, 1000, 3), {});
  ASSERT_EQ(steps.size(), 1U);
  EXPECT_EQ(steps[0].at, 1000U);
  EXPECT_NEAR(steps[0].step, -20, 1e-9);
  EXPECT_NEAR(steps[0].t50, 1001.5, 1e-9);
}

// 20 A over 8 scans: 10 % to 90 % takes 6.4 of them. The edge is longer than the gap, so D falls short of 20 A a little
// and the 10 % and 90 % points move with it.
TEST(FindStepsTest, SlowEdgeHasAMeasuredSlew) {
  const auto steps = find_steps(ramp(2000, 5, 25, 1000, 8), {});
  ASSERT_EQ(steps.size(), 1U);
  EXPECT_FALSE(steps[0].slew_is_bound);
  EXPECT_NEAR(steps[0].edge_scans(), 0.8 * 8, 0.7);
}

// sigma_D = 0.2 A sqrt(2 / 16) = 0.0707 A; six of them are 0.42 A.
TEST(FindStepsTest, NoiseSetsTheLeastStep) {
  const StepRule rule{.least = 0.1, .sigma = 0.2};
  EXPECT_NEAR(difference_sigma(rule), 0.070710678, 1e-9);
  EXPECT_TRUE(find_steps(ramp(400, 5, 5.4, 200, 1), rule).empty());
  EXPECT_EQ(find_steps(ramp(400, 5, 5.45, 200, 1), rule).size(), 1U);
}

TEST(FindStepsTest, TwoStepsApartAreTwo) {
  auto amps = ramp(2000, 5, 25, 500, 3);
  for (std::size_t i = 700; i < amps.size(); ++i) amps[i] = 5;
  const auto steps = find_steps(amps, {});
  ASSERT_EQ(steps.size(), 2U);
  EXPECT_NEAR(steps[1].step, -20, 1e-9);
  EXPECT_NEAR(steps[1].t50, 699.5, 1e-9);
}

TEST(FindStepsTest, NoStepInNoiseAloneOrInTooFewSamples) {
  std::mt19937 random(7);
  std::normal_distribution<double> noise(5, 0.05);
  std::vector<double> amps(32000);
  for (double& a : amps) a = noise(random);
  EXPECT_TRUE(find_steps(amps, {.least = 0.05, .sigma = 0.05}).empty());
  EXPECT_TRUE(find_steps(std::vector<double>(10, 5.0), {}).empty());
  EXPECT_TRUE(find_steps({}, {}).empty());
}

}  // namespace
}  // namespace host::detect
