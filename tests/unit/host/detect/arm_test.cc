// SPDX-License-Identifier: Apache-2.0
#include "host/detect/arm.h"

#include <cmath>

#include <gtest/gtest.h>

#include "host/data/shipped.h"
#include "host/detect/rule.h"
#include "tests/unit/host/detect/session_fixture.h"

namespace host::detect {
namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

const ArmedLimit& limit_of(const Arm& arm, std::uint32_t channel, Side side) {
  for (const auto& limit : arm.limits()) {
    if (limit.channel() == channel && limit.side() == side) return limit;
  }
  ADD_FAILURE();
  return arm.limits(0);
}

// By hand at 0.3 mV a code from 10 V, noise 0.6 mV, U = 2 sqrt(5^2 + 0.6^2) = 10.07 mV: 11.40 V is code 4666.67, so
// 4667 is the least code inside; release at 11.43 V (0.25 % of 12 V is 30 mV): 4766.67; kept from 11.40 - 0.01007 -
// 0.0036 = 11.38633 V: 4621.1.
TEST(ArmTest, CodesFollowFromTheLimit) {
  const LimitSet limits = test_limits();
  const Arm arm = arm_limits(test_model(), &limits);
  EXPECT_EQ(arm.set(), kArmedSet);
  const ArmedLimit& low = limit_of(arm, kMain, SIDE_LOW);
  EXPECT_EQ(low.code(), 5334);
  EXPECT_EQ(low.release_code(), 5434);
  EXPECT_EQ(low.keep_code(), 5287);
  EXPECT_EQ(low.merge_scans(), 16U);
  EXPECT_EQ(low.least_scans(), 4U);
  // 12.60 V is code 9333.3, 12.57 V 9233.3, 12.61367 V 9378.9.
  const ArmedLimit& high = limit_of(arm, kMain, SIDE_HIGH);
  EXPECT_EQ(high.code(), 9333);
  EXPECT_EQ(high.release_code(), 9233);
  EXPECT_EQ(high.keep_code(), 9379);
}

// 4 sigma of 25 codes (7.5 mV) are 30 mV, 4 sigma of 100 codes 120 mV: the greater of noise and 0.25 % rules.
TEST(ArmTest, NoiseWidensTheHysteresis) {
  const LimitSet limits = test_limits();
  EXPECT_EQ(limit_of(arm_limits(test_model(100), &limits), kMain, SIDE_LOW).release_code(), 5334 + 400);
}

TEST(ArmTest, KnifeEdgesAreComparedInMicrovolts) {
  model::JigChannel channel = *test_model().find("main-12v");
  // 9.8 + 3e-4 * 5000 = 11.30 exactly on a code, though the double division need not say so.
  EXPECT_EQ(least_code_at(channel, model::Microvolts{11300000}), 5000);
  EXPECT_EQ(greatest_code_at(channel, model::Microvolts{11300000}), 5000);
  EXPECT_EQ(least_code_at(channel, model::Microvolts{11300001}), 5001);
  EXPECT_EQ(greatest_code_at(channel, model::Microvolts{11299999}), 4999);
  for (int code = -3000; code < 9000; ++code) {
    const auto at = model::Microvolts{static_cast<std::int32_t>(std::llround(channel.value(code) * 1e6))};
    ASSERT_EQ(least_code_at(channel, at), code);
    ASSERT_EQ(greatest_code_at(channel, at), code);
  }
  EXPECT_GT(least_code_at(channel, model::Microvolts{2147000000}), 32767);
  EXPECT_LT(greatest_code_at(channel, model::Microvolts{-2147000000}), -32768);
}

TEST(ArmTest, WithoutAnEditionOnlyThresholds) {
  const Arm arm = arm_limits(test_model(), nullptr);
  EXPECT_EQ(arm.limits_size(), 0);
  // PWR_OK and PS_ON# two each, four rails two each (10 % and 95 %).
  EXPECT_EQ(arm.thresholds_size(), 4 + 8);
}

// Everything the shipped jigs and editions need fits what the chip holds.
TEST(ArmTest, ShippedJigsAndEditionsFitTheChip) {
  int combinations = 0;
  for (const auto jig_name : data::shipped_names("jigs/")) {
    const model::Jig jig = model::Jig::from_text(data::shipped(jig_name).value(), jig_name).value();
    for (const auto limit_name : data::shipped_names("limits/")) {
      LimitSet limits;
      ASSERT_TRUE(model::parse_text(data::shipped(limit_name).value(), limit_name, limits));
      const Arm arm = arm_limits(jig, &limits);
      ++combinations;
      EXPECT_LT(arm.thresholds_size(), 48) << jig_name << limit_name;
      EXPECT_LE(arm.limits_size(), 48);
      for (const auto& limit : arm.limits()) {
        const bool low = limit.side() == SIDE_LOW;
        EXPECT_TRUE(low ? limit.keep_code() < limit.code() && limit.code() < limit.release_code()
                        : limit.keep_code() > limit.code() && limit.code() > limit.release_code());
        EXPECT_LT(std::abs(limit.code()), 32767);
      }
    }
  }
  EXPECT_GE(combinations, 2);
}

}  // namespace
}  // namespace host::detect
