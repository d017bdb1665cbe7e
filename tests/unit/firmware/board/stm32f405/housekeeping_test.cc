// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/housekeeping.h"

#include <gtest/gtest.h>

#include <cmath>

#include "tests/unit/firmware/board/stm32f405/simulated_dma.h"

namespace firmware::chip {
namespace {

/// The beta equation solved for the temperature: T = 1 / (1/T25 + ln(R/R25) / beta).
double closed_form_celsius(double code) {
  const double ratio = code / (4095 - code);
  return 1 / (1 / 298.15 + std::log(ratio) / 3950) - 273.15;
}

TEST(ThermistorTest, FollowsTheBetaEquation) {
  for (std::uint16_t code = 140; code < 3690; ++code) {
    const auto here = thermistor_mk(code);
    const double expected = closed_form_celsius(code);
    if (expected < -19.9 || expected > 119.9) continue;
    ASSERT_TRUE(here) << code;
    EXPECT_NEAR(*here / 1000.0, expected, 0.2) << code;
  }
}

TEST(ThermistorTest, ReadsNothingWhereItIsOpenOrShorted) {
  for (const std::uint16_t code : {0, 10, 4085, 4095}) EXPECT_FALSE(thermistor_mk(code)) << code;
}

class HousekeepingTest : public ::testing::Test {
 protected:
  testing::SimulatedDma dma;
  Adc adc;
  AdcCommon common;
  HousekeepingCodes codes{};
  DmaStream stream{dma.registers, 4};
  Housekeeping housekeeping{adc, common, stream, codes};
};

TEST_F(HousekeepingTest, ConvertsItsInputsInOrder) {
  ASSERT_TRUE(housekeeping.begin());
  EXPECT_EQ(adc.SQR1.value >> 20 & 0xF, kHousekeepingInputs - 1);
  const std::uint32_t expected[] = {10, 11, 12, 13, 14, 15, 1, 16};
  for (std::size_t k = 0; k < kHousekeepingInputs; ++k) {
    const std::uint32_t field = (k < 6 ? adc.SQR3.value : adc.SQR2.value) >> (5 * (k % 6)) & 31;
    EXPECT_EQ(field, expected[k]) << k;
  }
  EXPECT_EQ(stream.left(), kHousekeepingInputs);
}

TEST_F(HousekeepingTest, ReadsTheWarmestConnectorThatCanBeRead) {
  codes.fill(4095);
  EXPECT_FALSE(housekeeping.warmest_mk());
  codes[2] = 2048;  // 10 kohm: 25 degC
  codes[4] = 1000;
  ASSERT_TRUE(housekeeping.warmest_mk());
  EXPECT_NEAR(*housekeeping.warmest_mk() / 1000.0, closed_form_celsius(1000), 0.2);
}

TEST_F(HousekeepingTest, ReadsSupplyAndChip) {
  codes[kThermistors] = 3102;  // 2.5 V of 3.3, behind two equal resistors: 5 V
  EXPECT_NEAR(housekeeping.supply_mv(), 5000, 2);
  codes[kThermistors + 1] = 943;  // 0.76 V: 25 degC
  EXPECT_NEAR(housekeeping.chip_mk(), 25'000, 500);
}

TEST_F(HousekeepingTest, StartsAnewAfterAnOverrun) {
  ASSERT_TRUE(housekeeping.begin());
  housekeeping.keep_going();
  EXPECT_EQ(housekeeping.overruns(), 0U);
  adc.SR.value = 1U << 5;
  housekeeping.keep_going();
  EXPECT_EQ(housekeeping.overruns(), 1U);
  EXPECT_EQ(adc.SR.value, 0U);
}

}  // namespace
}  // namespace firmware::chip
