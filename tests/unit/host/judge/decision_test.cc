// SPDX-License-Identifier: Apache-2.0
#include "host/judge/decision.h"

#include <gtest/gtest.h>

#include "host/judge/verdict.h"

namespace host::judge {
namespace {

using model::Microvolts;
using steadyrail::proto::Decision;
using steadyrail::proto::LimitStatus;

Decision both_sides(double v) {
  // Limits 11.40 V and 12.60 V, U 15 mV.
  const Reading reading{.value = model::to_microvolts(v), .expanded = Microvolts{15000}};
  const Decision low = guard_banded(Side::kLow, reading, Microvolts{11400000});
  const Decision high = guard_banded(Side::kHigh, reading, Microvolts{12600000});
  if (low == Decision::DECISION_FAIL || high == Decision::DECISION_FAIL) return Decision::DECISION_FAIL;
  if (low == Decision::DECISION_PASS && high == Decision::DECISION_PASS) return Decision::DECISION_PASS;
  return Decision::DECISION_UNDECIDED;
}

// Guard band w = U (ILAC-G8:09/2019 section 4.2, JCGM 106:2012 section 8.3); the zones worked by hand from
// 11.40 -+ 0.015 and 12.60 -+ 0.015.
TEST(GuardBandedTest, ThreeZonesOnBothSides) {
  EXPECT_EQ(both_sides(11.42), Decision::DECISION_PASS);
  EXPECT_EQ(both_sides(11.41), Decision::DECISION_UNDECIDED);
  EXPECT_EQ(both_sides(11.39), Decision::DECISION_UNDECIDED);
  EXPECT_EQ(both_sides(11.38), Decision::DECISION_FAIL);
  EXPECT_EQ(both_sides(12.58), Decision::DECISION_PASS);
  EXPECT_EQ(both_sides(12.59), Decision::DECISION_UNDECIDED);
  EXPECT_EQ(both_sides(12.62), Decision::DECISION_FAIL);
}

// The acceptance limit itself passes, the rejection limit itself does not fail (JCGM 106:2012 section 8: the acceptance
// interval is closed); one microvolt to either side decides.
TEST(GuardBandedTest, EdgesAreExactToTheMicrovolt) {
  const auto low = [](std::int32_t value) {
    return guard_banded(Side::kLow, {.value = Microvolts{value}, .expanded = Microvolts{15000}}, Microvolts{11400000});
  };
  EXPECT_EQ(low(11415000), Decision::DECISION_PASS);
  EXPECT_EQ(low(11414999), Decision::DECISION_UNDECIDED);
  EXPECT_EQ(low(11385000), Decision::DECISION_UNDECIDED);
  EXPECT_EQ(low(11384999), Decision::DECISION_FAIL);
  // 11.415 has no exact double; the decision must not depend on which neighbour it rounds to.
  EXPECT_EQ(low(model::to_microvolts(11.415).value), Decision::DECISION_PASS);
  EXPECT_EQ(low(model::to_microvolts(11.40 + 0.015).value), Decision::DECISION_PASS);
}

// By hand: what the chain may hide only moves the inner end of the interval, what noise adds only the outer end.
TEST(GuardBandedTest, OneSidedBoundsMoveOnlyTheirOwnEnd) {
  const Reading hidden{.value = Microvolts{11425000}, .expanded = Microvolts{15000}, .under_read = Microvolts{20000}};
  EXPECT_EQ(guard_banded(Side::kLow, hidden, Microvolts{11400000}), Decision::DECISION_UNDECIDED);
  const Reading below{.value = Microvolts{11380000}, .expanded = Microvolts{15000}, .under_read = Microvolts{20000}};
  EXPECT_EQ(guard_banded(Side::kLow, below, Microvolts{11400000}), Decision::DECISION_FAIL);
  const Reading noisy{.value = Microvolts{11380000}, .expanded = Microvolts{15000}, .noise_extreme = Microvolts{6000}};
  EXPECT_EQ(guard_banded(Side::kLow, noisy, Microvolts{11400000}), Decision::DECISION_UNDECIDED);
  const Reading mirrored{
      .value = Microvolts{12620000}, .expanded = Microvolts{15000}, .noise_extreme = Microvolts{6000}};
  EXPECT_EQ(guard_banded(Side::kHigh, mirrored, Microvolts{12600000}), Decision::DECISION_UNDECIDED);
}

TEST(GuardBandedTest, UnboundedUnderReadNeverPasses) {
  const Reading single{.value = Microvolts{12000000}, .expanded = Microvolts{15000}, .under_read_unbounded = true};
  EXPECT_EQ(guard_banded(Side::kLow, single, Microvolts{11400000}), Decision::DECISION_UNDECIDED);
}

// ILAC-G8:09/2019, 4.2.3: conditional pass within the guard band inside the tolerance limit, conditional fail within it
// beyond the limit; the limit itself conforms.
TEST(GuardZoneTest, HalvesOfTheGuardBandAreNamedApart) {
  const auto zone = [](Side side, std::int32_t value, std::int32_t limit) {
    return guard_zone(side, {.value = Microvolts{value}, .expanded = Microvolts{15000}}, Microvolts{limit});
  };
  using steadyrail::proto::GuardZone;
  EXPECT_EQ(zone(Side::kLow, 11420000, 11400000), GuardZone::GUARD_ZONE_PASS);
  EXPECT_EQ(zone(Side::kLow, 11410000, 11400000), GuardZone::GUARD_ZONE_CONDITIONAL_PASS);
  EXPECT_EQ(zone(Side::kLow, 11400000, 11400000), GuardZone::GUARD_ZONE_CONDITIONAL_PASS);
  EXPECT_EQ(zone(Side::kLow, 11399999, 11400000), GuardZone::GUARD_ZONE_CONDITIONAL_FAIL);
  EXPECT_EQ(zone(Side::kLow, 11390000, 11400000), GuardZone::GUARD_ZONE_CONDITIONAL_FAIL);
  EXPECT_EQ(zone(Side::kLow, 11380000, 11400000), GuardZone::GUARD_ZONE_FAIL);
  EXPECT_EQ(zone(Side::kHigh, 12590000, 12600000), GuardZone::GUARD_ZONE_CONDITIONAL_PASS);
  EXPECT_EQ(zone(Side::kHigh, 12610000, 12600000), GuardZone::GUARD_ZONE_CONDITIONAL_FAIL);
  EXPECT_EQ(zone(Side::kHigh, 12620000, 12600000), GuardZone::GUARD_ZONE_FAIL);
}

TEST(GuardBandedTest, SumsBeyond32BitsDoNotWrap) {
  const Reading vast{
      .value = Microvolts{-2147000000}, .expanded = Microvolts{2147000000}, .under_read = Microvolts{2147000000}};
  EXPECT_EQ(guard_banded(Side::kLow, vast, Microvolts{11400000}), Decision::DECISION_FAIL);
}

// Phi((11.40 - 11.41) / 0.0075) = 0.0912 from the table of the normal distribution (NIST/SEMATECH e-Handbook 1.3.6.7.1,
// from memory); -5.47 V, u 0.05 V against -5.40 V: 0.9192, the Zener diode example of JCGM 106:2012 (from memory).
TEST(ProbabilityTest, AgreesWithTheNormalTable) {
  EXPECT_NEAR(probability_nonconforming(Side::kLow, 11.41, 11.40, 0.0075), 0.0912, 5e-5);
  EXPECT_NEAR(1 - probability_nonconforming(Side::kHigh, -5.47, -5.40, 0.05), 0.9192, 5e-5);
  EXPECT_DOUBLE_EQ(probability_nonconforming(Side::kHigh, 12.6, 12.6, 0.01), 0.5);
}

TEST(DecideTest, LimitFromMemoryNeverFails) {
  const Reading far_below{.value = Microvolts{10000000}, .expanded = Microvolts{15000}};
  Grounds grounds{.limit_status = LimitStatus::LIMIT_STATUS_FROM_MEMORY};
  EXPECT_EQ(decide(Side::kLow, far_below, Microvolts{11400000}, grounds).decision, Decision::DECISION_UNDECIDED);
  EXPECT_EQ(decide(Side::kLow, far_below, Microvolts{11400000}, grounds).reason, "limit from memory");
  grounds.limit_status = LimitStatus::LIMIT_STATUS_UNKNOWN;
  EXPECT_EQ(decide(Side::kLow, far_below, Microvolts{11400000}, grounds).decision, Decision::DECISION_UNDECIDED);
  grounds.limit_status = LimitStatus::LIMIT_STATUS_SECONDARY;
  EXPECT_EQ(decide(Side::kLow, far_below, Microvolts{11400000}, grounds).decision, Decision::DECISION_FAIL);
}

TEST(DecideTest, LackOfCoverageTakesAPassButNotAFail) {
  const Grounds thin{.limit_status = LimitStatus::LIMIT_STATUS_READ, .coverage_lack = "98 % of scans seen"};
  const Reading sound{.value = Microvolts{12000000}, .expanded = Microvolts{15000}};
  const Reading low{.value = Microvolts{11000000}, .expanded = Microvolts{15000}};
  EXPECT_EQ(decide(Side::kLow, sound, Microvolts{11400000}, thin).decision, Decision::DECISION_UNDECIDED);
  EXPECT_EQ(decide(Side::kLow, sound, Microvolts{11400000}, thin).reason, "98 % of scans seen");
  EXPECT_EQ(decide(Side::kLow, low, Microvolts{11400000}, thin).decision, Decision::DECISION_FAIL);
}

TEST(DecideTest, UncalibratedAndClippedDecideNothing) {
  const Reading low{.value = Microvolts{11000000}, .expanded = Microvolts{15000}};
  const Grounds raw{.calibration_lack = "its calibration was due", .limit_status = LimitStatus::LIMIT_STATUS_READ};
  const Grounds clipped{.clipped = true, .limit_status = LimitStatus::LIMIT_STATUS_READ};
  EXPECT_EQ(decide(Side::kLow, low, Microvolts{11400000}, raw).decision, Decision::DECISION_UNDECIDED);
  EXPECT_EQ(decide(Side::kLow, low, Microvolts{11400000}, clipped).decision, Decision::DECISION_UNDECIDED);
}

}  // namespace
}  // namespace host::judge
