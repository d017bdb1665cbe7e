// SPDX-License-Identifier: Apache-2.0
// Thresholds and times are this supply's own (57 A, 690 W); the tests check that both must be passed.
#include "host/simulate/protection.h"

#include <gtest/gtest.h>

namespace host::simulate {
namespace {

struct Situation {
  std::array<double, Protection::kRails> shares = {1, 1, 1};
  double amps = 20;
  double watts = 300;
};

/// Seconds until it trips, and why; nothing within a tenth of a second: kNone.
std::pair<Trip, double> hold(const Situation& s) {
  Protection protection({});
  constexpr double kStepS = 1 / 32000.0;
  for (int i = 1; i <= 3200; ++i) {
    const Trip trip = protection.advance(s.shares, s.amps, s.watts, kStepS);
    if (trip != Trip::kNone) return {trip, i * kStepS};
  }
  return {Trip::kNone, 0};
}

void expect_trip(const Situation& situation, Trip trip, double after_s) {
  const auto [found, seconds] = hold(situation);
  EXPECT_EQ(found, trip);
  EXPECT_NEAR(seconds, after_s, 2 / 32000.0);
}

TEST(ProtectionTest, LeavesASoundSupplyAlone) {
  EXPECT_EQ(hold({}).first, Trip::kNone);
}
TEST(ProtectionTest, OverCurrentAfterFiveMilliseconds) {
  expect_trip({.amps = 75}, Trip::kOverCurrent, 5e-3);
}
TEST(ProtectionTest, NoOverCurrentJustBelow) {
  EXPECT_EQ(hold({.amps = 74}).first, Trip::kNone);
}
TEST(ProtectionTest, OverPowerAfterTwentyMilliseconds) {
  expect_trip({.watts = 870}, Trip::kOverPower, 20e-3);
}
TEST(ProtectionTest, ShortAfterOneMillisecond) {
  expect_trip({.shares = {1, 0.1, 1}}, Trip::kShort, 1e-3);
}
TEST(ProtectionTest, UnderVoltageAfterTwoMilliseconds) {
  expect_trip({.shares = {0.75, 1, 1}}, Trip::kUnderVoltage, 2e-3);
}
TEST(ProtectionTest, OverVoltageAfterFiftyMicroseconds) {
  expect_trip({.shares = {1, 1, 1.25}}, Trip::kOverVoltage, 50e-6);
}

TEST(ProtectionTest, TimeStartsAgainAfterAPause) {
  Protection protection({});
  for (int i = 0; i < 4; ++i) {
    EXPECT_EQ(protection.advance({1, 1, 1}, 75, 300, 4e-3), Trip::kNone);
    EXPECT_EQ(protection.advance({1, 1, 1}, 20, 300, 1e-3), Trip::kNone);
  }
}

}  // namespace
}  // namespace host::simulate
