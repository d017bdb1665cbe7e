// SPDX-License-Identifier: Apache-2.0
// A peaked dip that ngspice computes, through the jig's poles and sampling: what is hidden and what is said of it.
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

#include "host/judge/under_read.h"
#include "tests/unit/host/detect/rail_step_fixture.h"

namespace host::detect {
namespace {

constexpr std::array<double, 2> kPoles = {14200, 14200};

/// Two first-order lags by trapezoids.
std::vector<double> filtered(std::vector<double> volts, double step_s) {
  for (double hz : kPoles) {
    const double k = std::numbers::pi * hz * step_s;
    double state = volts[0];
    double before = volts[0];
    for (double& x : volts) {
      state = (state * (1 - k) + k * (x + before)) / (1 + k);
      before = x;
      x = state;
    }
  }
  return volts;
}

// Current limit 38 A under 45 A for a millisecond: the rail falls 2 V and turns at once when the load goes. A flat
// bottom of that width would hide nothing; these peaks hide 7 to 37 mV, by the phase at which they are sampled.
TEST(PeakOnNgspiceTest, TrueMinimumOfAWeakRailLiesWithinTheBound) {
  const RailStep fine = finely(weak_12v());
  const RailTrace trace = run_ngspice(fine);
  const auto rows = static_cast<std::size_t>(fine.rows_per_scan);
  ASSERT_EQ(trace.vo.size(), 640 * rows + 1);
  const judge::UnderRead chain(kPoles, 32000);
  for (const auto* volts : {&trace.vo, &trace.tapa, &trace.tapb}) {
    const double truth = *std::ranges::min_element(*volts);
    const std::vector<double> seen = filtered(*volts, 1 / 32000.0 / fine.rows_per_scan);
    double hidden_most = 0;
    for (std::size_t phase = 0; phase < rows; ++phase) {
      std::vector<double> readings;
      for (std::size_t i = phase; i < seen.size(); i += rows) readings.push_back(seen[i]);
      const auto least = static_cast<std::size_t>(std::ranges::min_element(readings) - readings.begin());
      double steepest = 0;
      for (std::size_t i = least - chain.reach_scans(); i < least + chain.reach_scans(); ++i) {
        steepest = std::max(steepest, std::abs(readings[i + 1] - readings[i]));
      }
      // No noise and no scale error here: U is 0, and the reading itself is the upper end.
      EXPECT_LE(truth, readings[least]) << phase;
      EXPECT_GE(truth, readings[least] - chain.bound_of_steepness(steepest)) << phase;
      hidden_most = std::max(hidden_most, readings[least] - truth);
      // Beyond 11.40 V for 62 scans and more: taken as flat, next to nothing would be hidden.
      EXPECT_LT(chain.bound_of_samples(12 - readings[least], 62).value(), 1e-6);
    }
    EXPECT_GT(hidden_most, 5e-3);
    std::printf("hidden at most %.1f mV of %.2f V\n", 1e3 * hidden_most, 12 - truth);
  }
}

}  // namespace
}  // namespace host::detect
