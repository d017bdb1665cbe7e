// SPDX-License-Identifier: Apache-2.0
#include "host/judge/uncertainty.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <random>
#include <vector>

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
  // The guide prints 32 nm and 93 nm; from the rounded inputs 31.7 and 92.5.
  EXPECT_EQ(std::round(combined(parts)), 32);
  EXPECT_NEAR(student_factor(0.99, dof) * combined(parts), 93, 0.6);
}

// GUM H.2: resistance, reactance and impedance from five simultaneous readings of voltage, current and phase. Inputs
// and results as the guide prints them: R 127.732 (71), X 219.847 (295), Z 254.260 (236) ohm.
TEST(PropagatedTest, AgreesWithTheImpedanceExampleOfTheGum) {
  constexpr std::array<std::array<double, 5>, 3> kRead = {{{5.007, 4.994, 5.005, 4.990, 4.999},
                                                           {19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3},
                                                           {1.0456, 1.0438, 1.0468, 1.0428, 1.0433}}};
  std::array<double, 3> mean{};
  for (std::size_t i = 0; i < 3; ++i) {
    for (double x : kRead[i]) mean[i] += x / 5;
  }
  std::array<double, 9> covariance{};  // of the means
  for (std::size_t i = 0; i < 3; ++i) {
    for (std::size_t k = 0; k < 3; ++k) {
      for (std::size_t n = 0; n < 5; ++n) {
        covariance[3 * i + k] += (kRead[i][n] - mean[i]) * (kRead[k][n] - mean[k]) / (5 * 4);
      }
    }
  }
  const auto [v, a, phi] = mean;
  const std::array<double, 3> to_r = {std::cos(phi) / a, -v * std::cos(phi) / (a * a), -v * std::sin(phi) / a};
  const std::array<double, 3> to_x = {std::sin(phi) / a, -v * std::sin(phi) / (a * a), v * std::cos(phi) / a};
  const std::array<double, 3> to_z = {1 / a, -v / (a * a), 0};
  EXPECT_NEAR(v / a * std::cos(phi), 127.732, 5e-4);
  EXPECT_NEAR(v / a * std::sin(phi), 219.847, 5e-4);
  EXPECT_NEAR(v / a, 254.260, 5e-4);
  EXPECT_NEAR(propagated(to_r, covariance), 0.071, 5e-4);
  // The guide prints 0.295 from intermediate figures of two digits; its second way, the scatter of five reactances each
  // worked out by itself, gives the third digit from the same readings.
  std::array<double, 5> x{};
  double mean_x = 0;
  double squares = 0;
  for (std::size_t n = 0; n < 5; ++n) x[n] = kRead[0][n] / kRead[1][n] * std::sin(kRead[2][n]);
  for (double one : x) mean_x += one / 5;
  for (double one : x) squares += (one - mean_x) * (one - mean_x) / (5 * 4);
  EXPECT_NEAR(propagated(to_x, covariance), std::sqrt(squares), 5e-4);
  EXPECT_NEAR(propagated(to_x, covariance), 0.295, 1e-3);
  EXPECT_NEAR(propagated(to_z, covariance), 0.236, 5e-4);
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

// By hand at nominal 11 V: fit^2 = 121 * 4e-10 + 9e-8 - 2 * 11 * 0.8 * 2e-5 * 3e-4 = 3.28e-8 V^2.
TEST(BudgetTest, WorksAtTheNominalValueOfTheFit) {
  model::JigChannel made;
  made.gain = 1.01;
  made.offset = 0.02;
  made.u_gain = 2e-5;
  made.u_offset = 3e-4;
  made.correlation = -0.8;
  EXPECT_NEAR(budget(made, 1.01 * 11 + 0.02, 1).calibration.u, std::sqrt(3.28e-8), 1e-12);
}

model::JigChannel with_parts() {
  model::JigChannel made = channel();
  made.u_other = 5.235e-3;
  made.u_converter = 0.713e-3;
  made.u_temperature = 2.088e-3;
  made.u_age = 0.693e-3;
  return made;
}

// Parts of u_other told apart leave its sum as it was.
TEST(BudgetTest, PartsAddUpToTheWhole) {
  model::JigChannel whole = channel();
  whole.u_other = 5.235e-3;
  EXPECT_NEAR(expanded_uncertainty(with_parts(), 12, 320).standard, expanded_uncertainty(whole, 12, 320).standard,
              1e-12);
  const double rest = std::sqrt(5.235 * 5.235 - 0.713 * 0.713 - 2.088 * 2.088 - 0.693 * 0.693) * 1e-3;
  EXPECT_NEAR(budget(with_parts(), 12, 320).other.u, rest, 1e-9);
}

// JCGM 101: the whole measurement model drawn, not the formula: gain and offset of the fit together, rectangular
// linearity, drift and ageing, a normal rest, noise sample by sample. The standard deviation of 100,000 draws is good
// to 0.7 %, the share inside the interval to 0.002, three of their own each.
TEST(BudgetTest, MonteCarloGivesTheSameInterval) {
  constexpr unsigned kSeed = 20260101;
  SCOPED_TRACE(testing::Message() << "seed " << kSeed);
  const model::JigChannel made = with_parts();
  constexpr int kSamples = 4;
  constexpr int kDraws = 100000;
  std::mt19937 random(kSeed);
  std::normal_distribution<double> normal;
  const auto rectangular = [&](double u) {
    return std::uniform_real_distribution<double>(-std::sqrt(3.0) * u, std::sqrt(3.0) * u)(random);
  };
  const double rest = std::sqrt(5.235 * 5.235 - 0.713 * 0.713 - 2.088 * 2.088 - 0.693 * 0.693) * 1e-3;
  std::vector<double> errors;
  for (int i = 0; i < kDraws; ++i) {
    const double first = normal(random);
    const double second =
        made.correlation * first + std::sqrt(1 - made.correlation * made.correlation) * normal(random);
    double noise = 0;
    for (int sample = 0; sample < kSamples; ++sample) noise += made.noise_rms * normal(random) / kSamples;
    const double read = 12 + noise + rectangular(made.u_converter);
    const double fitted = (1 + made.u_gain * first) * read + made.u_offset * second;
    errors.push_back(fitted + rectangular(made.u_temperature) + rectangular(made.u_age) + rest * normal(random) - 12);
  }
  double squares = 0;
  for (double error : errors) squares += error * error / kDraws;
  const Expanded said = expanded_uncertainty(made, 12, kSamples);
  EXPECT_NEAR(std::sqrt(squares) / said.standard, 1, 0.007);
  const auto inside = std::ranges::count_if(errors, [&](double error) { return std::abs(error) <= said.expanded; });
  EXPECT_NEAR(static_cast<double>(inside) / kDraws, 0.9545, 0.003);
}

// Two means of one channel: 0.6 mV noise, one sample against 32: 0.6 sqrt(1/32 + 1) = 0.609 mV. A scale error of 433
// ppm (5.2 mV at 12 V) on 0.35 V adds 0.152 mV, where the offset of 5.2 mV itself cancels.
TEST(DifferenceTest, OffsetsCancelAndNoiseDoesNot) {
  model::JigChannel made;
  made.per_code = 1e-9;
  made.noise_rms = 0.6e-3;
  EXPECT_NEAR(difference_uncertainty(made, 11.7, 0.35, 32, 1).standard, 0.609e-3, 0.001e-3);
  made.u_other = 5.2e-3;
  EXPECT_NEAR(difference_uncertainty(made, 12, 0.35, 32, 1).standard, std::hypot(0.609e-3, 0.152e-3), 0.001e-3);
  made.u_converter = 0.713e-3;
  const double rest = std::sqrt(5.2 * 5.2 - 0.713 * 0.713) / 12 * 0.35e-3;
  EXPECT_NEAR(difference_uncertainty(made, 12, 0.35, 32, 1).standard, std::hypot(0.609e-3, 0.713e-3, rest), 0.001e-3);
  EXPECT_LT(difference_uncertainty(made, 12, 0.35, 32, 1).expanded, expanded_uncertainty(made, 12, 1).expanded);
}

// JCGM 101 for a droop: 32 samples at 12 V against one at 11.65 V, each rounded to a code. Offset and scale error are
// the same for both, drift and ageing act as scale at worst; noise is drawn sample by sample. The converter's linearity
// is a bow or an S over its range (own choice of shapes, 20 V across): near levels share most of it, so that counting
// it in full is on the safe side; without it the standard deviation agrees to its own 0.7 %.
TEST(DifferenceTest, MonteCarloGivesTheSameInterval) {
  constexpr unsigned kSeed = 20260102;
  SCOPED_TRACE(testing::Message() << "seed " << kSeed);
  constexpr int kDraws = 100000;
  constexpr double kBefore = 12, kExtreme = 11.65, kRange = 20;
  for (const bool linear : {true, false}) {
    model::JigChannel made = with_parts();
    if (linear) made.u_converter = 0;
    std::mt19937 random(kSeed);
    std::normal_distribution<double> normal;
    std::uniform_real_distribution<double> uniform(-1, 1);
    const Budget parts = budget(made, kBefore, 1);
    const double drift = std::hypot(parts.temperature.u, parts.age.u, parts.other.u) / kExtreme;
    int inside = 0;
    double squares = 0;
    const Expanded said = difference_uncertainty(made, kExtreme, kBefore - kExtreme, 32, 1);
    for (int i = 0; i < kDraws; ++i) {
      const double scale = 1 + std::hypot(made.u_gain, drift) * normal(random);
      const double offset = made.u_offset * normal(random);
      const double bow = std::sqrt(3.0) * made.u_converter * uniform(random);
      const double turns = 1 + 0.5 * uniform(random), phase = 3.14159265 * uniform(random);
      const auto read = [&](double volts, int samples) {
        double sum = 0;
        for (int k = 0; k < samples; ++k) {
          const double level =
              volts + made.noise_rms * normal(random) + bow * std::sin(2 * 3.14159265 * turns * volts / kRange + phase);
          sum += std::round(level / made.per_code) * made.per_code;
        }
        return scale * sum / samples + offset;
      };
      const double error = read(kBefore, 32) - read(kExtreme, 1) - (kBefore - kExtreme);
      squares += error * error / kDraws;
      if (std::abs(error) <= said.expanded) ++inside;
    }
    const double ratio = std::sqrt(squares) / said.standard;
    if (linear) {
      EXPECT_NEAR(ratio, 1, 0.01);
      EXPECT_NEAR(static_cast<double>(inside) / kDraws, 0.9545, 0.004);
    } else {
      EXPECT_LE(ratio, 1);
      EXPECT_GE(static_cast<double>(inside) / kDraws, 0.9545);
    }
  }
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
