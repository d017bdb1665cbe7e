// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/state_space.h"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>

namespace host::simulate {
namespace {

constexpr double kStep = 1 / 256000.0;

std::vector<double> advance(const Update& update, const std::vector<double>& x, const std::vector<double>& now,
                            const std::vector<double>& next) {
  std::vector<double> result(x.size());
  for (std::size_t i = 0; i < x.size(); ++i) {
    for (std::size_t j = 0; j < x.size(); ++j) result[i] += update.transition(i, j) * x[j];
    for (std::size_t j = 0; j < now.size(); ++j) result[i] += update.now(i, j) * now[j] + update.next(i, j) * next[j];
  }
  return result;
}

// 12 V behind 10 mohm and 2 uH into 2200 uF; the load steps from 5 to 25 A. Closed form of the deviation, by hand:
// dI {R [1 - e^-at (cos wd t + a/wd sin wd t)] + L w0^2 e^-at sin(wd t)/wd}, a = R/2L, w0^2 = 1/LC.
TEST(FirstOrderHoldTest, MatchesTheClosedFormOfAnRlcStep) {
  constexpr double kOhm = 10e-3;
  constexpr double kHenry = 2e-6;
  constexpr double kFarad = 2200e-6;
  StateSpace system(2, 2);  // current, voltage; source, load
  system.a(0, 0) = -kOhm / kHenry;
  system.a(0, 1) = -1 / kHenry;
  system.b(0, 0) = 1 / kHenry;
  system.a(1, 0) = 1 / kFarad;
  system.b(1, 1) = -1 / kFarad;
  const Update update = first_order_hold(system, kStep);
  std::vector<double> x = steady_state(system, {12, 5});
  EXPECT_NEAR(x[1], 11.95, 1e-12);

  const double a = kOhm / (2 * kHenry);
  const double w0_square = 1 / (kHenry * kFarad);
  const double wd = std::sqrt(w0_square - a * a);
  double least = 12;
  double least_at = 0;
  for (int k = 1; k <= 1000; ++k) {
    x = advance(update, x, {12, 25}, {12, 25});
    const double t = k * kStep;
    const double decay = std::exp(-a * t);
    const double deviation = 20 * (kOhm * (1 - decay * (std::cos(wd * t) + a / wd * std::sin(wd * t))) +
                                   kHenry * w0_square * decay * std::sin(wd * t) / wd);
    ASSERT_NEAR(x[1], 11.95 - deviation, 1e-10) << "step " << k;
    if (x[1] < least) {
      least = x[1];
      least_at = t;
    }
  }
  // Minimum of the closed form: 11.299754 V at 116.864 us; the grid is 3.9 us.
  EXPECT_NEAR(least, 11.299754, 2e-4);
  EXPECT_NEAR(least_at, 116.864e-6, kStep);
}

// Capacitor behind its resistance, converter silent: a ramp of dI in te drops dI ESR + dI te/(2C) by its end and
// dI (t - te)/C more afterwards. 20 A, 100 us, 5 mohm, 6600 uF: 251.515 mV, 100 us later 554.545 mV.
TEST(FirstOrderHoldTest, MatchesTheRampThroughAnEsr) {
  StateSpace system(1, 1);  // capacitor; load above the converter's current
  system.b(0, 0) = -1 / 6600e-6;
  const double step = 100e-6 / 32;
  const Update update = first_order_hold(system, step);
  std::vector<double> x = {12};
  for (int k = 0; k < 32; ++k) x = advance(update, x, {20.0 * k / 32}, {20.0 * (k + 1) / 32});
  EXPECT_NEAR(12 - (x[0] - 5e-3 * 20), 0.251515152, 1e-9);
  for (int k = 0; k < 32; ++k) x = advance(update, x, {20}, {20});
  EXPECT_NEAR(12 - (x[0] - 5e-3 * 20), 0.554545455, 1e-9);
}

// A pole of 1e7/s at steps of 4 us, where an explicit step would multiply errors by 38, simply follows its input.
TEST(FirstOrderHoldTest, HoldsAStiffPole) {
  StateSpace system(1, 1);
  system.a(0, 0) = -1e7;
  system.b(0, 0) = 1e7;
  const Update update = first_order_hold(system, kStep);
  std::vector<double> x = {0};
  for (int k = 0; k < 1000; ++k) x = advance(update, x, {1}, {1});
  EXPECT_NEAR(x[0], 1, 1e-9);
}

}  // namespace
}  // namespace host::simulate
