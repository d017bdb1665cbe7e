// SPDX-License-Identifier: Apache-2.0
// A divider found again from what it reads through two source resistances. The readings are worked out by Ohm's law, by
// hand: level 5 V, 11.70 and 3.00 kohm on 100 ohm of ground, 1 and 20 kohm in series.
#include "host/selftest/circuit.h"

#include <gtest/gtest.h>

namespace host::selftest {
namespace {

namespace proto = steadyrail::proto;

proto::TestInput p12() {
  proto::TestInput input;
  input.set_upper_ohm(11700);
  input.set_lower_ohm(3000);
  return input;
}

// 5 V x 14.8 / 15.8 = 4.683544 V at the tap, x 3 / 14.7 = 0.955825 V; 5 V x 14.8 / 34.8 = 2.126437 V, 0.433967 V.
constexpr TwoReadings kRead{
    .level_v = 5, .strong_ohm = 1000, .weak_ohm = 20000, .strong_v = 0.95582537, .weak_v = 0.43396669};

TEST(CircuitTest, ExpectsWhatOhmsLawGives) {
  EXPECT_NEAR(tap_volts(p12(), 5, 1000, 100), 4.683544, 1e-6);
  EXPECT_NEAR(gain_of(p12()) * tap_volts(p12(), 5, 1000, 100), kRead.strong_v, 1e-7);
  EXPECT_NEAR(gain_of(p12()) * tap_volts(p12(), 5, 20000, 100), kRead.weak_v, 1e-7);
  EXPECT_EQ(at_zero_of(p12()), 0);
  proto::TestInput bled = p12();
  bled.set_bleed_ohm(14800);
  EXPECT_NEAR(input_ohm(bled, 100), 7400, 1e-9) << "two equal ones side by side";
}

/// -12 V: 40.2 and 10.0 kohm to 4.096 V. Open: 4.096 V at the tap; on 1 kohm: 4.096 / 51.2 = 0.08 V; with the tap at
/// 0 V: 4.096 x 40.2 / 50.2 = 3.28006 V at the converter.
TEST(CircuitTest, KnowsWhatComesOutOfADividerThatEndsAtTheReference) {
  proto::TestInput m12;
  m12.set_upper_ohm(40200);
  m12.set_lower_ohm(10000);
  m12.set_lower_end_v(4.096);
  EXPECT_NEAR(at_zero_of(m12), 3.280064, 1e-6);
  EXPECT_NEAR(resting_volts(m12, std::nullopt), 4.096, 1e-12);
  EXPECT_NEAR(resting_volts(m12, 1000), 0.08, 1e-12);
  EXPECT_EQ(resting_volts(p12(), 1000), 0);
}

TEST(CircuitTest, FindsBothResistances) {
  const auto found = divider_of(kRead, 100, 0);
  ASSERT_TRUE(found.has_value());
  EXPECT_NEAR(found->upper_ohm, 11700, 0.5);
  EXPECT_NEAR(found->lower_ohm, 3000, 0.2);
  EXPECT_NEAR(found->input_ohm, 14800, 0.5);
}

/// Beside a bleed of 47 kohm the source sees 14.8 || 47 = 11.2556 kohm: 4.591992 V strong, 1.800551 V weak.
TEST(CircuitTest, TakesTheBleedOut) {
  TwoReadings read = kRead;
  read.strong_v = 5 * 11255.6634 / 12255.6634 * 3 / 14.7;
  read.weak_v = 5 * 11255.6634 / 31255.6634 * 3 / 14.7;
  const auto found = divider_of(read, 100, 47000);
  ASSERT_TRUE(found.has_value());
  EXPECT_NEAR(found->upper_ohm, 11700, 1);
  EXPECT_NEAR(found->lower_ohm, 3000, 0.3);
}

TEST(CircuitTest, RefusesWhatNoDividerReads) {
  TwoReadings none = kRead;
  none.weak_v = 0;
  EXPECT_FALSE(divider_of(none, 100, 0).has_value());
  none = kRead;
  none.weak_v = none.strong_v;
  EXPECT_FALSE(divider_of(none, 100, 0).has_value()) << "does not depend on the source's resistance";
  none.weak_v = none.strong_v / 100;
  EXPECT_FALSE(divider_of(none, 100, 0).has_value()) << "more than the resistances can divide";
}

}  // namespace
}  // namespace host::selftest
