// SPDX-License-Identifier: Apache-2.0
#include "host/judge/uncertainty.h"

#include <array>
#include <cmath>

#include <gtest/gtest.h>

namespace host::judge {
namespace {

// GUM (JCGM 100:2008) table G.2, column 95.45 % (from memory): t for 1, 2, 5, 10, 20, 50 and infinite degrees of
// freedom.
TEST(StudentFactorTest, AgreesWithTheTableOfTheGum) {
  EXPECT_NEAR(student_factor(0.9545, 1), 13.97, 0.005);
  EXPECT_NEAR(student_factor(0.9545, 2), 4.53, 0.005);
  EXPECT_NEAR(student_factor(0.9545, 5), 2.65, 0.005);
  EXPECT_NEAR(student_factor(0.9545, 10), 2.28, 0.005);
  EXPECT_NEAR(student_factor(0.9545, 20), 2.13, 0.005);
  EXPECT_NEAR(student_factor(0.9545, 50), 2.05, 0.005);
  EXPECT_NEAR(student_factor(0.9545, 0), 2.000, 0.0005);
  EXPECT_EQ(student_factor(0.9545, 10.99), student_factor(0.9545, 10));
  EXPECT_EQ(student_factor(0.9545, 0.3), student_factor(0.9545, 1));
}

// GUM H.1, end-gauge calibration: 25 nm (18), 5.8 nm with 24 degrees of freedom, 3.9 nm (5), 6.7 nm (8), 2.9 nm (50),
// 16.6 nm (2); the guide's worked result is nu_eff = 16 after truncation and k99 = 2.92, U99 = 93 nm.
TEST(EffectiveDofTest, AgreesWithTheEndGaugeExampleOfTheGum) {
  const std::array<Component, 6> parts = {Component{25, 18}, {5.8, 24}, {3.9, 5}, {6.7, 8}, {2.9, 50}, {16.6, 2}};
  const double dof = effective_dof(parts);
  EXPECT_EQ(std::floor(dof), 16);
  EXPECT_NEAR(student_factor(0.99, dof), 2.92, 0.005);
}

TEST(EffectiveDofTest, LargeWhereNoPartIsLimited) {
  const std::array<Component, 2> parts = {Component{1, 0}, {2, 0}};
  EXPECT_EQ(effective_dof(parts), 0);
}

model::JigChannel channel() {
  model::JigChannel made;
  made.per_code = 3e-4;
  made.noise_rms = 0.6e-3;
  made.calibrated = true;
  made.u_gain = 2.796e-5;
  made.u_offset = 0.2427e-3;
  made.correlation = -0.8673;
  return made;
}

// Least-squares covariance of a seven-point calibration (1, 3, 5, 8, 11, 12, 13 V), computed with NumPy's lstsq:
// u(12 V) = 0.1738 mV, where leaving the covariance out would give sqrt(0.3355^2 + 0.2427^2) = 0.414 mV.
TEST(ExpandedTest, UsesTheCovarianceOfTheFit) {
  EXPECT_NEAR(expanded_uncertainty(channel(), 12, 1e18).standard, 0.1738e-3, 0.001e-3);
  EXPECT_NEAR(expanded_uncertainty(channel(), 12, 1e18).expanded, 2 * 0.1738e-3, 0.002e-3);
}

// By hand: u^2 = 5.2^2 + 0.6^2 / n in mV.
TEST(ExpandedTest, NoiseAveragesDown) {
  model::JigChannel made = channel();
  made.u_gain = made.u_offset = 0;
  made.u_other = 5.2e-3;
  EXPECT_NEAR(expanded_uncertainty(made, 12, 1).standard, std::sqrt(5.2 * 5.2 + 0.36) * 1e-3, 1e-9);
  EXPECT_NEAR(expanded_uncertainty(made, 12, 320).standard, std::sqrt(5.2 * 5.2 + 0.36 / 320) * 1e-3, 1e-9);
}

// Five degrees of freedom and no noise: GUM table G.2 gives 2.65; noise of large degrees of freedom pulls k back.
TEST(ExpandedTest, FewDegreesOfFreedomWidenU) {
  model::JigChannel made = channel();
  made.effective_dof = 5;
  made.noise_rms = 0;
  EXPECT_NEAR(expanded_uncertainty(made, 12, 1).k, 2.65, 0.005);
  made.noise_rms = 10e-3;
  EXPECT_NEAR(expanded_uncertainty(made, 12, 1).k, 2.0, 0.01);
}

// Median of the greatest of N normal deviates. N = 2: Phi(z)^2 = 1/2, z = 0.5450 (normal table at 0.7071); N = 9.216e8
// (8 h at 32,000 a second): z = 6.05, from the tail 7.5e-10 of the asymptotic series phi(z)/z (1 - 1/z^2), by hand.
TEST(NoiseExtremeTest, MedianOfTheGreatest) {
  EXPECT_NEAR(noise_extreme_sigmas(2), 0.5450, 0.0002);
  EXPECT_NEAR(noise_extreme_sigmas(8 * 3600 * 32000.0), 6.05, 0.01);
  EXPECT_EQ(noise_extreme_sigmas(1), 0);
  EXPECT_EQ(noise_extreme_sigmas(0), 0);
}

}  // namespace
}  // namespace host::judge
