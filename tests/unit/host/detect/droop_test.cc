// SPDX-License-Identifier: Apache-2.0
#include "host/detect/droop.h"

#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

#include "tests/unit/host/detect/rail_step_fixture.h"

namespace host::detect {
namespace {

constexpr double kBand = 0.060;

struct Expected {
  double before, settled, extreme, deviation, shift, undershoot;
  std::uint64_t at, recovery;
};

void expect(const std::vector<double>& trace, std::uint64_t next, const Expected& expected) {
  const auto droop = measure_droop(trace, 64, next, true, kBand);
  ASSERT_TRUE(droop.has_value());
  EXPECT_NEAR(droop->before, expected.before, 1e-5);
  EXPECT_NEAR(droop->settled, expected.settled, 1e-5);
  EXPECT_NEAR(droop->extreme, expected.extreme, 1e-5);
  EXPECT_NEAR(droop->deviation, expected.deviation, 1.1e-5);
  EXPECT_NEAR(droop->shift, expected.shift, 1.1e-5);
  EXPECT_NEAR(droop->undershoot, expected.undershoot, 1.1e-5);
  EXPECT_EQ(droop->extreme_at, expected.at);
  EXPECT_EQ(droop->recovery_scans, expected.recovery);
}

// ngspice runs the netlist now; the figures were found on its traces by tests/reference/detectors/droop.py (argmin,
// means, last exit), which its own test runs again, and are printed to five digits.
TEST(DroopOnNgspiceTest, Healthy) {
  const RailTrace trace = run_ngspice(healthy());
  ASSERT_EQ(trace.vo.size(), 641U);
  expect(trace.vo, 384, {12.087, 12.067, 11.91928, 0.16772, 0.02, 0.14772, 72, 26});
  expect(trace.tapa, 384, {12.042, 11.842, 11.6926, 0.3494, 0.2, 0.1494, 72, 26});
  expect(trace.tapb, 384, {12.007, 11.987, 11.83843, 0.16857, 0.02, 0.14857, 73, 26});
}

TEST(DroopOnNgspiceTest, TiredCapacitorsReachTheMinimumEarlier) {
  const RailTrace trace = run_ngspice(tired_capacitors());
  ASSERT_EQ(trace.vo.size(), 641U);
  expect(trace.vo, 384, {12.087, 12.067, 11.90837, 0.17863, 0.02, 0.15863, 69, 24});
  expect(trace.tapa, 384, {12.042, 11.842, 11.6636, 0.3784, 0.2, 0.1784, 68, 25});
  expect(trace.tapb, 384, {12.007, 11.987, 11.81722, 0.18978, 0.02, 0.16978, 69, 24});
}

TEST(DroopOnNgspiceTest, LooseConnector) {
  const RailTrace trace = run_ngspice(loose_connector());
  ASSERT_EQ(trace.vo.size(), 641U);
  expect(trace.vo, 384, {12.087, 12.067, 11.92471, 0.16229, 0.02, 0.14229, 74, 27});
  expect(trace.tapa, 384, {11.867, 10.967, 10.82848, 1.03852, 0.9, 0.13852, 76, 29});
  expect(trace.tapb, 384, {12.007, 11.987, 11.84393, 0.16307, 0.02, 0.14307, 74, 27});
}

TEST(DroopOnNgspiceTest, WeakRail) {
  const RailTrace trace = run_ngspice(weak_12v());
  ASSERT_EQ(trace.vo.size(), 641U);
  expect(trace.vo, 640, {12.016, 12.016, 10.06904, 1.94696, 0, 1.94696, 100, 103});
  expect(trace.tapa, 640, {11.836, 11.836, 9.7157, 2.1203, 0, 2.1203, 99, 103});
  expect(trace.tapb, 640, {11.936, 11.936, 9.97697, 1.95903, 0, 1.95903, 101, 103});
}

// Closed form of an open-loop R-L-C rail (10 mohm, 2 uH, 2,200 uF) stepped by 20 A at t = 0:
// dev(t) = dI {R [1 - e^-at (cos wt + a/w sin wt)] + L w0^2 e^-at sin(wt) / w}; its minimum is 11.299754 V at 116.864
// us, deviation 0.650246, undershoot 0.450246, shift 0.200 V, +-60 mV for good after 811.10 us. Sampled 50 times finer
// than the jig does, so that the grid does not decide.
TEST(DroopTest, OpenLoopRlcAgreesWithTheClosedForm) {
  const double r = 0.01, l = 2e-6, c = 2200e-6, di = 20;
  const double a = r / (2 * l);
  const double w0 = 1 / std::sqrt(l * c);
  const double w = std::sqrt(w0 * w0 - a * a);
  const double dt = 1 / 32000.0 / 50;
  std::vector<double> volts(64, 11.95);
  for (int i = 0; i * dt < 10e-3; ++i) {
    const double t = i * dt;
    const double decay = std::exp(-a * t);
    volts.push_back(11.95 - di * (r * (1 - decay * (std::cos(w * t) + a / w * std::sin(w * t))) +
                                  l * w0 * w0 * decay * std::sin(w * t) / w));
  }
  const auto droop = measure_droop(volts, 64, volts.size(), true, kBand);
  ASSERT_TRUE(droop.has_value());
  EXPECT_NEAR(droop->extreme, 11.299753644, 2e-6);
  EXPECT_NEAR(static_cast<double>(droop->minimum_scans) * dt, 116.864e-6, dt);
  EXPECT_NEAR(droop->deviation, 0.650246356, 2e-6);
  EXPECT_NEAR(droop->undershoot, 0.450246356, 1e-5);
  EXPECT_NEAR(droop->shift, 0.200, 1e-5);
  EXPECT_NEAR(static_cast<double>(droop->recovery_scans) * dt, 811.096e-6, dt);
}

// The last exit counts, not the first entry: a ring leaves the band again at scan 60.
TEST(DroopTest, RecoveryIsTheLastExit) {
  std::vector<double> volts(200, 12.0);
  volts[40] = 11.5;
  volts[60] = 11.9;
  const auto droop = measure_droop(volts, 40, 200, true, kBand);
  ASSERT_TRUE(droop.has_value());
  EXPECT_EQ(droop->recovery_scans, 21U);
  EXPECT_EQ(droop->extreme_at, 40U);
}

TEST(DroopTest, ReleaseIsTheMirror) {
  std::vector<double> volts(200, 11.8);
  for (std::size_t i = 40; i < 200; ++i) volts[i] = 12.0;
  volts[44] = 12.15;
  const auto droop = measure_droop(volts, 40, 200, false, kBand);
  ASSERT_TRUE(droop.has_value());
  EXPECT_NEAR(droop->deviation, 0.35, 1e-9);
  EXPECT_NEAR(droop->shift, 0.20, 1e-9);
  EXPECT_NEAR(droop->undershoot, 0.15, 1e-9);
  EXPECT_EQ(droop->recovery_scans, 5U);
}

// Settled is the mean of the 32 scans right before the next step, the last one included: one of them 32 mV higher
// moves it by 1 mV.
TEST(DroopTest, SettledReachesToTheNextStep) {
  std::vector<double> volts(200, 12.0);
  volts[149] = 12.032;
  const auto droop = measure_droop(volts, 40, 150, true, kBand);
  ASSERT_TRUE(droop.has_value());
  EXPECT_NEAR(droop->settled, 12.001, 1e-12);
}

TEST(DroopTest, NeedsRoomOnBothSides) {
  const std::vector<double> volts(200, 12.0);
  EXPECT_FALSE(measure_droop(volts, 31, 200, true, kBand).has_value());
  EXPECT_FALSE(measure_droop(volts, 40, 73, true, kBand).has_value());
  EXPECT_FALSE(measure_droop(volts, 40, 201, true, kBand).has_value());
  EXPECT_TRUE(measure_droop(volts, 40, 74, true, kBand).has_value());
}

}  // namespace
}  // namespace host::detect
