// SPDX-License-Identifier: Apache-2.0
// Limits hold for load steps up to the edition's: 40 % of the 25 A on the label is 10 A here. A dip under a bigger step
// is no non-conformity, and no pass rests on it; the same dip under a smaller one fails.
#include <gtest/gtest.h>

#include <string>

#include "host/detect/review.h"
#include "tests/unit/host/detect/session_fixture.h"

namespace host::detect {
namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

constexpr std::size_t kScans = 64000;

LimitSet limits_with_steps() {
  LimitSet limits = test_limits();
  auto* row = limits.add_transient();
  row->set_rail(RAIL_P12V);
  row->set_output("+12V1DC");
  row->set_basis(STEP_BASIS_RATED_CURRENT);
  row->set_step_percent(40);
  row->set_slew_a_per_us(1);
  row->set_slew_status(LIMIT_STATUS_READ);
  row->set_status(LIMIT_STATUS_READ);
  limits.mutable_required()->set_steps_each_way(1);
  return limits;
}

ReviewOptions options() {
  Unit unit;
  auto* rail = unit.add_rails();
  rail->set_rail(RAIL_P12V);
  rail->set_amps(25);
  return {.limits = limits_with_steps(), .unit = unit, .events_listed_max = 500};
}

/// From 5 A a step of `amps` at `at`, back 100 ms later; 11.0 V for 64 scans from `dip` on.
SessionResult reviewed(double amps, std::size_t at, std::size_t dip, bool told_late = false) {
  Levels levels(kScans);
  levels.set(kGraphicsA, at, at + 3200, 5 + amps);
  levels.set(kGraphics, dip, dip + 64, 11.0);
  Review review(options());
  review.header(test_header());
  // A step is told before the block after its own.
  const std::size_t until = told_late ? (at / 1024 + 1) * 1024 : 0;
  if (told_late) levels.windows(review, 0, until);
  review.event(load_step(at, amps, 1));
  levels.windows(review, until, kScans);
  review.event(load_step(at + 3200, -amps, 2));
  review.finish();
  return review.result();
}

bool says(const SessionResult& result, const std::string& words) {
  for (const std::string& remark : result.remarks()) {
    if (remark.find(words) != std::string::npos) return true;
  }
  return false;
}

TEST(BeyondStepsTest, DipUnderASpecifiedStepFails) {
  const SessionResult result = reviewed(8, 20000, 20010);
  EXPECT_EQ(verdict_of(result, "graphics-1", QUANTITY_DYNAMIC).decision(), DECISION_FAIL);
  const auto steps = events_of(result, EVENT_KIND_LOAD_STEP);
  ASSERT_EQ(steps.size(), 2u);
  EXPECT_EQ(steps[0].within_step(), WITHIN_STEP_YES);
  EXPECT_DOUBLE_EQ(steps[0].specified_step_a(), 10);
  const auto dips = events_of(result, EVENT_KIND_EXCURSION);
  ASSERT_EQ(dips.size(), 1u);
  EXPECT_EQ(dips[0].decision(), DECISION_FAIL);
  EXPECT_EQ(dips[0].within_step(), WITHIN_STEP_UNKNOWN);
}

TEST(BeyondStepsTest, DipUnderABiggerStepIsNotTested) {
  for (const bool told_late : {false, true}) {
    // 20440 lies in the last windows of its block: the chip tells of it after the block.
    const SessionResult result = reviewed(12, 20440, 20450, told_late);
    const auto& verdict = verdict_of(result, "graphics-1", QUANTITY_DYNAMIC);
    EXPECT_NE(verdict.decision(), DECISION_FAIL) << told_late << verdict.reason();
    EXPECT_NEAR(verdict.value(), 12.0, 1e-3) << told_late;
    EXPECT_TRUE(says(result, "bigger than this edition specifies was at work")) << told_late;
    const auto dips = events_of(result, EVENT_KIND_EXCURSION);
    ASSERT_EQ(dips.size(), 1u);
    EXPECT_EQ(dips[0].decision(), DECISION_NOT_TESTED);
    EXPECT_EQ(dips[0].within_step(), WITHIN_STEP_NO);
    EXPECT_NE(dips[0].note().find("bigger than this edition specifies"), std::string::npos);
    const auto steps = events_of(result, EVENT_KIND_LOAD_STEP);
    ASSERT_EQ(steps.size(), 2u);
    EXPECT_EQ(steps[0].within_step(), WITHIN_STEP_NO);
  }
}

// Ten milliseconds after the step it has had its way: what stands then is the supply's own.
TEST(BeyondStepsTest, DipLongAfterABiggerStepFails) {
  const SessionResult result = reviewed(12, 20000, 20000 + 640);
  EXPECT_EQ(verdict_of(result, "graphics-1", QUANTITY_DYNAMIC).decision(), DECISION_FAIL);
  EXPECT_EQ(events_of(result, EVENT_KIND_EXCURSION)[0].decision(), DECISION_FAIL);
}

// What no limit is published for is no exposure either: with bigger steps alone nothing may pass.
TEST(BeyondStepsTest, BiggerStepsCountAsNoExposure) {
  const SessionResult bigger = reviewed(12, 20000, 20010);
  const auto& verdict = verdict_of(bigger, "graphics-1", QUANTITY_DYNAMIC);
  EXPECT_EQ(verdict.decision(), DECISION_UNDECIDED);
  EXPECT_NE(verdict.reason().find("0 rising and 0 falling load steps"), std::string::npos) << verdict.reason();
  ASSERT_GT(bigger.steps_size(), 0);
  EXPECT_EQ(bigger.steps(0).steps(), 1u);
  EXPECT_EQ(bigger.steps(0).beyond_specified(), 1u);
  EXPECT_DOUBLE_EQ(bigger.steps(0).specified_step_a(), 10);
}

}  // namespace
}  // namespace host::detect
