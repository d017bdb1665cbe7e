// SPDX-License-Identifier: Apache-2.0
// What is known of the shape of an extreme, and what that does to a verdict; worked by hand from the levels drawn.
#include "host/detect/shape.h"

#include <algorithm>
#include <array>

#include <gtest/gtest.h>

#include "host/detect/review.h"
#include "tests/unit/host/detect/session_fixture.h"

namespace host::detect {
namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

Capture one_channel(std::uint64_t first, std::vector<std::int16_t> codes) {
  Capture capture;
  capture.first = first;
  capture.end = first + codes.size();
  capture.codes[0] = std::move(codes);
  return capture;
}

TEST(SteepestTest, LooksAtTheFlanksWithinReachAlone) {
  const Capture capture = one_channel(100, {0, 900, 0, 0, -1, -4, -9, -5, -3, -3, -3, 700});
  EXPECT_EQ(steepest_near(capture, {.channel = 0, .from = 104, .to = 109, .code = -9}, 2), 5);
  EXPECT_EQ(steepest_near(capture, {.channel = 0, .from = 106, .to = 107, .code = -9}, 5), 900);
}

TEST(SteepestTest, NothingWhereTheCaptureDoesNotReachOrHoldsAnotherExtreme) {
  const Capture capture = one_channel(100, {0, 0, 0, 0, -1, -4, -9, -5, -3, -3, -3, 0});
  EXPECT_FALSE(steepest_near(capture, {.channel = 0, .from = 106, .to = 107, .code = -8}, 2).has_value());
  EXPECT_FALSE(steepest_near(capture, {.channel = 0, .from = 101, .to = 107, .code = -9}, 2).has_value());
  EXPECT_FALSE(steepest_near(capture, {.channel = 0, .from = 106, .to = 111, .code = -9}, 2).has_value());
  EXPECT_FALSE(steepest_near(capture, {.channel = 1, .from = 106, .to = 107, .code = -9}, 2).has_value());
}

// A dip of 0.7 V with flanks of 200 scans, 3.5 mV each scan, against a limit 50 mV below its bottom. From windows alone
// the flanks may be as steep as the 0.19 V of two windows allow; a capture shows that they are not, and the verdict
// passes.
TEST(ShapeInVerdictTest, ACaptureBoundsAPeakThatWindowsLeaveOpen) {
  Levels levels(64000);
  for (std::size_t i = 0; i <= 200; ++i) {
    levels.of(kGraphics)[10000 + i] = 12 - 0.0035 * static_cast<double>(i);
    levels.of(kGraphics)[10400 - i] = 12 - 0.0035 * static_cast<double>(i);
  }
  for (const bool captured : {false, true}) {
    Review review({.limits = test_limits(11.25), .unit = {}, .events_listed_max = 500});
    review.header(test_header());
    levels.windows(review, 0, 32000);
    if (captured) levels.capture(review, 9984, 10464, 10200, CAPTURE_CAUSE_LOAD_STEP);
    levels.windows(review, 32000, 64000);
    review.finish();
    const SessionResult result = review.result();
    const Verdict& verdict = verdict_of(result, "graphics-1", QUANTITY_DYNAMIC);
    EXPECT_NEAR(verdict.value(), 11.30, 1e-3);
    EXPECT_EQ(verdict.decision(), captured ? DECISION_PASS : DECISION_UNDECIDED);
    EXPECT_EQ(verdict.guard_zone(), captured ? GUARD_ZONE_PASS : GUARD_ZONE_CONDITIONAL_PASS);
    // Flat for 100 us it hides 0.7 V (1 / 0.9866 - 1) = 9.5 mV, which is more than a peak so blunt does.
    EXPECT_NEAR(verdict.bias_bound(), captured ? 9.5e-3 : 60e-3, captured ? 0.1e-3 : 10e-3);
  }
}

// A capture that comes before its windows is looked at when they do.
TEST(ShapeInVerdictTest, TheOrderOfCaptureAndWindowsDoesNotMatter) {
  Levels levels(64000);
  levels.set(kGraphics, 10000, 10400, 11.30);
  for (std::size_t i = 0; i < 100; ++i) levels.of(kGraphics)[10150 + i] = 11.29;
  std::array<double, 2> bounds{};
  for (const bool early : {false, true}) {
    Review review({.limits = test_limits(11.0), .unit = {}, .events_listed_max = 500});
    review.header(test_header());
    if (early) levels.capture(review, 9984, 10464, 10200, CAPTURE_CAUSE_LOAD_STEP);
    levels.windows(review, 0, 64000);
    if (!early) levels.capture(review, 9984, 10464, 10200, CAPTURE_CAUSE_LOAD_STEP);
    review.finish();
    bounds[early ? 1 : 0] = verdict_of(review.result(), "graphics-1", QUANTITY_DYNAMIC).bias_bound();
  }
  EXPECT_GT(bounds[0], 0);
  EXPECT_EQ(bounds[0], bounds[1]);
}

// What was never seen carries no figure: neither 0 V nor a probability.
TEST(ShapeInVerdictTest, AVerdictWithoutAFigureCarriesNone) {
  Levels levels(6400);
  levels.set(kPwrOk, 0, 6400, 0);
  Review review({.limits = test_limits(), .unit = {}, .events_listed_max = 500});
  review.header(test_header());
  levels.windows(review, 0, 6400);
  review.finish();
  const SessionResult result = review.result();
  const Verdict& verdict = verdict_of(result, "graphics-1", QUANTITY_DYNAMIC);
  EXPECT_EQ(verdict.decision(), DECISION_UNDECIDED);
  EXPECT_FALSE(verdict.has_value());
  EXPECT_FALSE(verdict.has_expanded_uncertainty());
  EXPECT_FALSE(verdict.has_probability_nonconforming());
  EXPECT_FALSE(verdict.has_bias_bound());
  EXPECT_EQ(verdict.guard_zone(), GUARD_ZONE_NONE);
  EXPECT_NEAR(verdict.limit(), 11.40, 1e-9);
}

}  // namespace
}  // namespace host::detect
