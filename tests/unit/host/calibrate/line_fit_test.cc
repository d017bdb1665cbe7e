// SPDX-License-Identifier: Apache-2.0
#include "host/calibrate/line_fit.h"

#include <array>
#include <cmath>
#include <limits>
#include <vector>

#include <gtest/gtest.h>

namespace host::calibrate {
namespace {

// NIST StRD, linear regression, data set Norris (ozone monitors, 36 points), as published.
constexpr std::array<LinePoint, 36> kNorris = {
    {{0.2, 0.1},     {337.4, 338.8}, {118.2, 118.1}, {884.6, 888.0}, {10.1, 9.2},    {226.5, 228.1},
     {666.3, 668.5}, {996.3, 998.5}, {448.6, 449.1}, {777.0, 778.9}, {558.2, 559.2}, {0.4, 0.3},
     {0.6, 0.1},     {775.5, 778.1}, {666.9, 668.8}, {338.0, 339.3}, {447.5, 448.9}, {11.6, 10.8},
     {556.0, 557.7}, {228.1, 228.3}, {995.8, 998.0}, {887.6, 888.8}, {120.2, 119.6}, {0.3, 0.3},
     {0.3, 0.6},     {556.8, 557.6}, {339.1, 339.3}, {887.2, 888.0}, {999.0, 998.5}, {779.0, 778.9},
     {11.1, 10.2},   {118.3, 117.6}, {229.2, 228.9}, {669.1, 668.4}, {448.9, 449.2}, {0.5, 0.2}}};

void expect_relative(double value, double certified, double tolerance) {
  EXPECT_NEAR(value / certified, 1, tolerance) << value << " against " << certified;
}

// The certified values of NIST StRD Norris, 15 digits.
TEST(LineFitTest, AgreesWithNistNorrisToTwelveDigits) {
  const LineFit fit = fit_line(kNorris).value();
  expect_relative(fit.slope, 1.00211681802045, 1e-12);
  expect_relative(fit.intercept, -0.262323073774029, 1e-12);
  expect_relative(fit.u_slope, 0.429796848199937e-3, 1e-12);
  expect_relative(fit.u_intercept, 0.232818234301152, 1e-12);
  expect_relative(fit.residual_sd, 0.884796396144373, 1e-12);
  EXPECT_EQ(fit.dof, 34U);
}

// y = 2 + 3 x for x = 0..20: coefficients exact, no scatter.
TEST(LineFitTest, FindsAnExactLineWithoutScatter) {
  std::vector<LinePoint> points;
  for (int x = 0; x <= 20; ++x) points.push_back({.x = 1.0 * x, .y = 2 + 3.0 * x});
  const LineFit fit = fit_line(points).value();
  EXPECT_DOUBLE_EQ(fit.slope, 3);
  EXPECT_DOUBLE_EQ(fit.intercept, 2);
  EXPECT_NEAR(fit.residual_sd, 0, 1e-15);
  EXPECT_EQ(fit.uncertainty_at(10), 0);
}

// Seven-point calibration of a voltage channel, worked out with NumPy's lstsq from the same lists: gain 1.004008381,
// offset 11.936897 mV, scatter 0.3196 mV, u(gain) 2.796e-5, u(offset) 0.2427 mV, correlation -0.8673, u(12 V) 0.1738
// mV.
TEST(LineFitTest, CalibratesAChannel) {
  const std::array<double, 7> raw = {0.98436255,   2.975896414,  4.968227092, 7.955776892,
                                     10.944422311, 11.940537849, 12.935956175};
  const std::array<double, 7> reference = {1, 3, 5, 8, 11, 12, 13};
  std::vector<LinePoint> points;
  for (std::size_t i = 0; i < raw.size(); ++i) points.push_back({.x = raw[i], .y = reference[i]});
  const LineFit fit = fit_line(points).value();
  EXPECT_NEAR(fit.slope, 1.004008381, 5e-10);
  EXPECT_NEAR(fit.intercept, 0.011936897, 5e-10);
  EXPECT_NEAR(fit.residual_sd, 0.319631656e-3, 1e-9);
  EXPECT_NEAR(fit.u_slope, 2.7962e-5, 5e-10);
  EXPECT_NEAR(fit.u_intercept, 0.242734904e-3, 1e-9);
  EXPECT_NEAR(fit.correlation, -0.867348655, 5e-10);
  EXPECT_NEAR(fit.uncertainty_at(12), 0.173846022e-3, 1e-9);
}

// A point of weight 2 pulls as two points do; a common factor on all weights changes nothing but the scatter's unit.
TEST(LineFitTest, WeightsPullAsRepeatedPointsDo) {
  const std::vector<LinePoint> twice = {{1, 1.1, 1}, {2, 2.3, 1}, {2, 2.3, 1}, {4, 3.8, 1}, {5, 5.2, 1}};
  const std::vector<LinePoint> weighted = {{1, 1.1, 1}, {2, 2.3, 2}, {4, 3.8, 1}, {5, 5.2, 1}};
  std::vector<LinePoint> scaled = weighted;
  for (LinePoint& point : scaled) point.weight *= 25;
  const LineFit a = fit_line(twice).value();
  const LineFit b = fit_line(weighted).value();
  const LineFit c = fit_line(scaled).value();
  EXPECT_NEAR(a.slope, b.slope, 1e-14);
  EXPECT_NEAR(a.intercept, b.intercept, 1e-14);
  EXPECT_NEAR(b.u_slope, c.u_slope, 1e-15);
  EXPECT_NEAR(b.residual_sd * 5, c.residual_sd, 1e-14);
}

TEST(LineFitTest, RefusesWhatIsNoLine) {
  const std::vector<LinePoint> two = {{1, 1}, {2, 2}};
  const std::vector<LinePoint> upright = {{1, 1}, {1, 2}, {1, 3}};
  const std::vector<LinePoint> strange = {{1, 1}, {2, std::numeric_limits<double>::quiet_NaN()}, {3, 3}};
  const std::vector<LinePoint> weightless = {{1, 1, 1}, {2, 2, 0}, {3, 3, 1}};
  for (const auto& points : {two, upright, strange, weightless}) EXPECT_FALSE(fit_line(points).has_value());
}

}  // namespace
}  // namespace host::calibrate
