// SPDX-License-Identifier: Apache-2.0
// Sessions drawn by hand; expected figures follow from the drawing, the 5 mV of u_other (U = 10 mV) and 2 codes of
// noise (0.6 mV) of the test jig.
#include "host/detect/review.h"

#include <cmath>

#include <gtest/gtest.h>

#include "tests/unit/host/detect/session_fixture.h"

namespace host::detect {
namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

SessionResult review(const Levels& levels, const std::optional<LimitSet>& limits, const Unit* unit = nullptr,
                     std::uint32_t scans_per_window = 32) {
  ReviewOptions options{.limits = limits, .unit = {}, .events_listed_max = 500};
  if (unit != nullptr) options.unit = *unit;
  Review review(options);
  review.header(test_header());
  levels.windows(review, 0, levels.scans(), 0, scans_per_window);
  review.finish();
  return review.result();
}

TEST(ReviewTest, SteadySessionPassesBothQuantities) {
  const SessionResult result = review(Levels(32000), test_limits());
  const Verdict& still = verdict_of(result, "main-12v", QUANTITY_STATIC);
  EXPECT_EQ(still.decision(), DECISION_PASS) << still.reason();
  EXPECT_NEAR(still.value(), 12.0, 3e-4);
  EXPECT_NEAR(still.expanded_uncertainty(), 0.010, 1e-5);  // 2 sqrt(5^2 + 0.6^2 / 320) mV
  const Verdict& moving = verdict_of(result, "main-12v", QUANTITY_DYNAMIC);
  EXPECT_EQ(moving.decision(), DECISION_PASS) << moving.reason();
  EXPECT_NEAR(moving.expanded_uncertainty(), 2 * std::sqrt(25 + 0.36) * 1e-3, 1e-6);
  EXPECT_EQ(result.conclusion(), CONCLUSION_NOT_TESTED);
  EXPECT_TRUE(events_of(result, EVENT_KIND_EXCURSION).empty());
}

TEST(ReviewTest, SagBelowTheLimitFailsAndIsListedWithItsDepth) {
  Levels levels(32000);
  levels.set(kMain, 10000, 10320, 11.30);
  const SessionResult result = review(levels, test_limits());
  const Verdict& moving = verdict_of(result, "main-12v", QUANTITY_DYNAMIC);
  EXPECT_EQ(moving.decision(), DECISION_FAIL);
  EXPECT_EQ(moving.side(), "low");
  EXPECT_NEAR(moving.value(), 11.30, 3e-4);
  EXPECT_NEAR(moving.time_s(), 10000 / 32000.0, 32 / 32000.0);
  EXPECT_GT(moving.probability_nonconforming(), 0.999);
  const auto events = events_of(result, EVENT_KIND_EXCURSION);
  ASSERT_EQ(events.size(), 1U);
  EXPECT_EQ(events[0].channel(), "main-12v");
  EXPECT_EQ(events[0].source(), FIGURE_SOURCE_WINDOW);
  EXPECT_NEAR(events[0].depth_v(), 0.70, 1e-3);
  // 10000 lies inside the window that begins at 9984; the true 10 ms lie within the duration and its bound.
  EXPECT_NEAR(events[0].start_s(), 10000 / 32000.0, events[0].start_uncertainty_s());
  EXPECT_NEAR(events[0].duration_s(), 10e-3, events[0].duration_uncertainty_s());
  EXPECT_EQ(events[0].decision(), DECISION_FAIL);
  EXPECT_EQ(verdict_of(result, "graphics-1", QUANTITY_DYNAMIC).decision(), DECISION_PASS);
}

TEST(ReviewTest, HighSideIsJudgedToo) {
  Levels levels(32000);
  levels.set(kFive, 5000, 6000, 5.30);
  const SessionResult result = review(levels, test_limits());
  EXPECT_EQ(verdict_of(result, "main-5v", QUANTITY_DYNAMIC).decision(), DECISION_FAIL);
  EXPECT_EQ(verdict_of(result, "main-5v", QUANTITY_DYNAMIC).side(), "high");
  ASSERT_EQ(events_of(result, EVENT_KIND_EXCURSION).size(), 1U);
  EXPECT_EQ(events_of(result, EVENT_KIND_EXCURSION)[0].side(), "high");
}

// 11.405 V lies 5 mV inside the limit, less than U = 10 mV: the guard band leaves it undecided.
TEST(ReviewTest, InsideTheGuardBandIsUndecided) {
  Levels levels(32000);
  levels.set(kMain, 0, 32000, 11.405);
  const SessionResult result = review(levels, test_limits());
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_STATIC).decision(), DECISION_UNDECIDED);
  EXPECT_NEAR(verdict_of(result, "main-12v", QUANTITY_STATIC).probability_nonconforming(), 0.1587, 0.02);  // Phi(-1)
}

TEST(ReviewTest, TwoEditionsJudgeTheSameStreamDifferently) {
  Levels levels(32000);
  levels.set(kGraphics, 10000, 10320, 11.30);
  EXPECT_EQ(verdict_of(review(levels, test_limits(11.40)), "graphics-1", QUANTITY_DYNAMIC).decision(), DECISION_FAIL);
  // Windows alone do not tell the flanks of the dip: its true bottom may lie 0.22 V lower.
  const SessionResult wider = review(levels, test_limits(11.04, "wider"));
  EXPECT_EQ(verdict_of(wider, "graphics-1", QUANTITY_DYNAMIC).decision(), DECISION_PASS);
  EXPECT_TRUE(events_of(wider, EVENT_KIND_EXCURSION).empty());
  EXPECT_EQ(wider.edition(), "wider");
}

TEST(ReviewTest, WithoutAnEditionNothingIsTested) {
  Levels levels(32000);
  levels.set(kMain, 10000, 10320, 8.0);
  const SessionResult result = review(levels, std::nullopt);
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_DYNAMIC).decision(), DECISION_NOT_TESTED);
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_DYNAMIC).reason(), "no limit set named");
  EXPECT_TRUE(events_of(result, EVENT_KIND_EXCURSION).empty());
}

TEST(ReviewTest, CoverageThatIsAskedForIsNamedWhenItLacks) {
  LimitSet limits = test_limits();
  limits.mutable_required()->set_settled_mean_s(60);
  limits.mutable_required()->set_scans_share(0.999);
  const SessionResult result = review(Levels(32000), limits);
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_STATIC).decision(), DECISION_UNDECIDED);
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_STATIC).reason(), "0.99 s of settled means, 60.00 s required");
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_DYNAMIC).decision(), DECISION_PASS);

  Review holed({.limits = limits, .unit = {}, .events_listed_max = 500});
  holed.header(test_header());
  const Levels levels(32000);
  levels.windows(holed, 0, 16000);
  levels.windows(holed, 17600, 32000);
  holed.finish();
  EXPECT_EQ(verdict_of(holed.result(), "main-12v", QUANTITY_DYNAMIC).decision(), DECISION_UNDECIDED);
}

TEST(ReviewTest, StepsAreRequiredOfRailsWithCurrentChannels) {
  LimitSet limits = test_limits();
  limits.mutable_required()->set_steps_each_way(30);
  const SessionResult result = review(Levels(32000), limits);
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_DYNAMIC).decision(), DECISION_UNDECIDED);
  EXPECT_EQ(verdict_of(result, "main-5v", QUANTITY_DYNAMIC).decision(), DECISION_PASS);
}

TEST(ReviewTest, LimitFromMemoryNeverFails) {
  LimitSet limits = test_limits();
  limits.mutable_regulation(0)->set_status(LIMIT_STATUS_FROM_MEMORY);
  Levels levels(32000);
  levels.set(kMain, 0, 32000, 11.0);
  const SessionResult result = review(levels, limits);
  for (Quantity quantity : {QUANTITY_STATIC, QUANTITY_DYNAMIC}) {
    EXPECT_EQ(verdict_of(result, "main-12v", quantity).decision(), DECISION_UNDECIDED);
    EXPECT_EQ(verdict_of(result, "main-12v", quantity).reason(), "limit from memory");
  }
  EXPECT_EQ(events_of(result, EVENT_KIND_EXCURSION).at(0).decision(), DECISION_UNDECIDED);
}

TEST(ReviewTest, ChannelWithoutCalibrationDecidesNothing) {
  Levels levels(32000);
  levels.set(kMain, 0, 32000, 11.0);
  Review review({.limits = test_limits(), .unit = {}, .events_listed_max = 500});
  review.header(test_header("", test_jig(2, false)));
  levels.windows(review, 0, levels.scans());
  review.finish();
  EXPECT_EQ(verdict_of(review.result(), "main-12v", QUANTITY_STATIC).decision(), DECISION_UNDECIDED);
  EXPECT_EQ(verdict_of(review.result(), "main-12v", QUANTITY_STATIC).reason(), "channel not calibrated");
}

Unit unit_of(double amps) {
  Unit unit;
  unit.set_total_w(2000);
  auto* rail = unit.add_rails();
  rail->set_rail(RAIL_P12V);
  rail->set_amps(amps);
  return unit;
}

// 60 A on a rail labelled 40 A: the sag is listed, but it is no non-conformity and the verdict leaves it out.
TEST(ReviewTest, OutsideTheRatingAnExcursionIsNoNonConformity) {
  Levels levels(32000);
  levels.set(kGraphicsA, 9000, 11000, 60);
  levels.set(kGraphics, 10000, 10320, 11.30);
  const Unit unit = unit_of(40);
  const SessionResult result = review(levels, test_limits(), &unit);
  const auto events = events_of(result, EVENT_KIND_EXCURSION);
  ASSERT_EQ(events.size(), 1U);
  EXPECT_EQ(events[0].within_rating(), WITHIN_RATING_NO);
  EXPECT_EQ(events[0].decision(), DECISION_NOT_TESTED);
  EXPECT_EQ(verdict_of(result, "graphics-1", QUANTITY_DYNAMIC).decision(), DECISION_PASS);
  bool told = false;
  for (const auto& remark : result.remarks()) told = told || remark.find("outside the rating") != std::string::npos;
  EXPECT_TRUE(told);
}

// Both sides fail: the greater breach is told, 11.20 less 10.20 V before 12.70 less 12.60 V.
TEST(ReviewTest, OfTwoFailsTheGreaterBreachIsTold) {
  Levels levels(32000);
  levels.set(kGraphics, 10000, 10320, 10.20);
  levels.set(kGraphics, 20000, 20320, 12.70);
  const auto verdict = verdict_of(review(levels, test_limits()), "graphics-1", QUANTITY_DYNAMIC);
  EXPECT_EQ(verdict.decision(), DECISION_FAIL);
  EXPECT_EQ(verdict.side(), "low");
  EXPECT_NEAR(verdict.value(), 10.20, 0.01);
}

// What the decoder missed before the first and after the last window counts against a pass.
TEST(ReviewTest, ScansLostAtTheEndsLowerTheCoverage) {
  LimitSet limits = test_limits();
  limits.mutable_required()->set_scans_share(0.999);
  Review review({.limits = limits, .unit = {}, .events_listed_max = 500});
  review.header(test_header());
  const Levels levels(32000);
  levels.windows(review, 0, 32000);
  review.finish();
  EXPECT_EQ(verdict_of(review.result(), "main-12v", QUANTITY_DYNAMIC).decision(), DECISION_PASS);
  Coverage decoded;
  decoded.set_scans_expected(64000);
  decoded.set_scans_seen(32000);
  const SessionResult result = review.result(&decoded);
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_DYNAMIC).decision(), DECISION_UNDECIDED);
}

// 46 A on a rail labelled 40 A, with an allowance of 110 or 120 % for a tenth of a second after the supply's size:
// whether the sag is the supply's fault cannot be told.
TEST(ReviewTest, InDoubtOfTheRatingAFailIsUndecided) {
  Levels levels(32000);
  levels.set(kGraphicsA, 9984, 11008, 46);
  levels.set(kGraphics, 10000, 10320, 11.30);
  const Unit unit = unit_of(40);
  LimitSet limits = test_limits();
  auto* row = limits.add_excursion();
  row->set_duration_s(0.1);
  row->set_percent_small(110);
  row->set_percent_large(120);
  const SessionResult result = review(levels, limits, &unit);
  EXPECT_EQ(events_of(result, EVENT_KIND_EXCURSION).at(0).within_rating(), WITHIN_RATING_UNKNOWN);
  EXPECT_EQ(verdict_of(result, "graphics-1", QUANTITY_DYNAMIC).decision(), DECISION_UNDECIDED);
  EXPECT_NE(verdict_of(result, "graphics-1", QUANTITY_DYNAMIC).reason().find("above the label"), std::string::npos);
}

TEST(ReviewTest, InsideTheRatingItIs) {
  Levels levels(32000);
  levels.set(kGraphicsA, 9000, 11000, 60);
  levels.set(kGraphics, 10000, 10320, 11.30);
  const Unit unit = unit_of(80);
  const SessionResult result = review(levels, test_limits(), &unit);
  EXPECT_EQ(events_of(result, EVENT_KIND_EXCURSION).at(0).within_rating(), WITHIN_RATING_YES);
  EXPECT_EQ(verdict_of(result, "graphics-1", QUANTITY_DYNAMIC).decision(), DECISION_FAIL);
  EXPECT_EQ(verdict_of(result, "graphics-1", QUANTITY_DYNAMIC).within_rating(), WITHIN_RATING_YES);
  EXPECT_EQ(verdict_of(result, "main-5v", QUANTITY_DYNAMIC).within_rating(), WITHIN_RATING_UNKNOWN);
}

TEST(ReviewTest, NothingIsJudgedWhileTheSupplyIsOff) {
  Levels levels(64000);
  levels.set(kPwrOk, 0, 16000, 0);
  levels.set(kMain, 0, 12000, 0.05);
  levels.set(kPwrOk, 48000, 64000, 0);
  levels.set(kMain, 48064, 64000, 0.05);
  const SessionResult result = review(levels, test_limits());
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_DYNAMIC).decision(), DECISION_PASS);
  EXPECT_NEAR(verdict_of(result, "main-12v", QUANTITY_DYNAMIC).value(), 12, 1e-3);
  EXPECT_TRUE(events_of(result, EVENT_KIND_EXCURSION).empty());
  bool told = false;
  for (const auto& remark : result.remarks()) told = told || remark.find("1.000 s in 2 stretches") != std::string::npos;
  EXPECT_TRUE(told);
}

TEST(ReviewTest, SupplyNeverOnIsUndecided) {
  Levels levels(32000);
  levels.set(kPwrOk, 0, 32000, 0);
  const SessionResult result = review(levels, test_limits());
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_STATIC).decision(), DECISION_UNDECIDED);
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_STATIC).reason(), "the supply was never seen on");
}

TEST(ReviewTest, HoleClosesAnExcursionAndIsNotBridged) {
  Levels levels(32000);
  levels.set(kMain, 10000, 20000, 11.0);
  Review review({.limits = test_limits(), .unit = {}, .events_listed_max = 500});
  review.header(test_header());
  levels.windows(review, 0, 14080);
  review.gap({.from_scan = 14080, .to_scan = 15104, .cause = LOSS_CAUSE_DAMAGED});
  levels.windows(review, 15104, 32000);
  review.finish();
  const auto events = events_of(review.result(), EVENT_KIND_EXCURSION);
  ASSERT_EQ(events.size(), 2U);
  EXPECT_TRUE(events[0].truncated());
  EXPECT_FALSE(events[1].truncated());
  EXPECT_LE(events[0].start_s() + events[0].duration_s(), 14080 / 32000.0);
  EXPECT_GE(events[1].start_s(), 15104 / 32000.0);
}

TEST(ReviewTest, EmptyAllGapAndHeaderlessSessionsGiveNothingButSayIt) {
  Review empty({.limits = test_limits(), .unit = {}, .events_listed_max = 500});
  empty.header(test_header());
  empty.finish();
  EXPECT_EQ(verdict_of(empty.result(), "main-12v", QUANTITY_STATIC).decision(), DECISION_UNDECIDED);
  EXPECT_TRUE(empty.drawings().overviews().empty());

  Review gaps({.limits = test_limits(), .unit = {}, .events_listed_max = 500});
  gaps.header(test_header());
  gaps.gap({.from_scan = 0, .to_scan = 320000, .cause = LOSS_CAUSE_PORT_GONE});
  gaps.finish();
  EXPECT_EQ(verdict_of(gaps.result(), "main-12v", QUANTITY_DYNAMIC).decision(), DECISION_UNDECIDED);

  Review headless({.limits = test_limits(), .unit = {}, .events_listed_max = 500});
  Levels(3200).windows(headless, 0, 3200);
  headless.finish();
  EXPECT_TRUE(headless.result().verdicts().empty());
  EXPECT_FALSE(headless.result().remarks().empty());
}

TEST(ReviewTest, AllClippedIsUndecidedAndCounted) {
  Levels levels(32000);
  levels.set(kMain, 0, 32000, 25);
  const SessionResult result = review(levels, test_limits());
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_DYNAMIC).decision(), DECISION_UNDECIDED);
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_STATIC).decision(), DECISION_UNDECIDED);
  EXPECT_EQ(result.coverage().scans_clipped(), 32000U);
}

TEST(ReviewTest, NonsenseBatchesAreLeftOutAndCounted) {
  Review review({.limits = test_limits(), .unit = {}, .events_listed_max = 500});
  review.header(test_header());
  const Levels levels(32000);
  levels.windows(review, 0, 16000);
  levels.windows(review, 0, 16000);  // again
  decode::WindowBatch batch;
  batch.first_scan = UINT64_MAX - 5;
  batch.scans_per_window = 32;
  batch.window_count = 4;
  review.windows(batch);
  levels.windows(review, 16000, 32000);
  review.finish();
  EXPECT_EQ(verdict_of(review.result(), "main-12v", QUANTITY_STATIC).decision(), DECISION_PASS);
  bool told = false;
  const SessionResult result = review.result();
  for (const auto& remark : result.remarks()) told = told || remark.find("left out") != std::string::npos;
  EXPECT_TRUE(told);
}

TEST(ReviewTest, JumpToAVastScanIndexNeitherHangsNorOverflows) {
  Review review({.limits = test_limits(), .unit = {}, .events_listed_max = 500});
  review.header(test_header());
  const Levels levels(3200);
  levels.windows(review, 0, 3200);
  levels.windows(review, 0, 3200, (std::uint64_t{1} << 60) - 6400);
  review.finish();
  EXPECT_LT(review.result().verdicts(0).value(), 13);
  const Drawings drawings = review.drawings();
  for (const auto& overview : drawings.overviews()) EXPECT_LE(overview.low_size(), 1600);
}

TEST(ReviewTest, ListKeepsTheWorstAndCountsTheRest) {
  Levels levels(320000);
  for (int i = 0; i < 20; ++i) {
    const auto at = static_cast<std::size_t>(5000 + 15000 * i);
    levels.set(kMain, at, at + 320, 11.30 - 0.01 * (i % 10));
  }
  Review review({.limits = test_limits(), .unit = {}, .events_listed_max = 4});
  review.header(test_header());
  levels.windows(review, 0, levels.scans());
  review.finish();
  const SessionResult result = review.result();
  const auto events = events_of(result, EVENT_KIND_EXCURSION);
  ASSERT_EQ(events.size(), 4U);
  for (const auto& event : events) EXPECT_LT(event.extreme_v(), 11.225);  // 11.21 twice and 11.22 twice
  const EventCount count = count_of(result, EVENT_KIND_EXCURSION, "main-12v");
  EXPECT_EQ(count.listed(), 4U);
  EXPECT_EQ(count.counted(), 16U);
}

TEST(ReviewTest, OverviewIsBoundedAndKeepsExtremes) {
  Levels levels(32 * 5000);
  levels.set(kMain, 77777, 77778, 10.0);
  Review review({.limits = test_limits(), .unit = {}, .events_listed_max = 500});
  review.header(test_header());
  levels.windows(review, 0, levels.scans());
  review.finish();
  const Drawings drawings = review.drawings();
  ASSERT_EQ(drawings.overviews_size(), static_cast<int>(kChannels));
  const Overview& main = drawings.overviews(kMain);
  EXPECT_GE(main.low_size(), 800);
  EXPECT_LE(main.low_size(), 1600);
  EXPECT_NEAR(main.step_s() * main.low_size(), 5.0, 2 * main.step_s());
  const auto column = static_cast<int>(77777 / 32000.0 / main.step_s());
  EXPECT_NEAR(main.low(column), 10.0, 1e-3);
  EXPECT_NEAR(main.low(column + 1), 12.0, 1e-3);
}

TEST(ReviewTest, OverviewSaysWhereNothingWasSeen) {
  Review review({.limits = test_limits(), .unit = {}, .events_listed_max = 500});
  review.header(test_header());
  const Levels levels(32 * 100);
  levels.windows(review, 0, 1024);
  levels.windows(review, 2048, 3200);
  review.finish();
  const Overview overview = review.drawings().overviews(0);
  EXPECT_TRUE(overview.seen(31));
  EXPECT_FALSE(overview.seen(32));
  EXPECT_FALSE(overview.seen(63));
  EXPECT_TRUE(overview.seen(64));
}

TEST(ReviewTest, LongWindowsKeepExtremesAndWidenTimes) {
  Levels levels(64 * 1024);
  levels.set(kMain, 20000, 20064, 11.30);
  const SessionResult result = review(levels, test_limits(), nullptr, 256);
  const auto events = events_of(result, EVENT_KIND_EXCURSION);
  ASSERT_EQ(events.size(), 1U);
  EXPECT_NEAR(events[0].extreme_v(), 11.30, 3e-4);
  EXPECT_DOUBLE_EQ(events[0].start_uncertainty_s(), 8e-3);
  EXPECT_EQ(verdict_of(result, "main-12v", QUANTITY_DYNAMIC).decision(), DECISION_FAIL);
}

TEST(ReviewTest, NoFigureIsNotANumber) {
  Levels levels(64000);
  levels.set(kMain, 10000, 20000, 0);
  levels.set(kGraphicsA, 5000, 6000, 90);
  Review review({.limits = test_limits(), .unit = unit_of(40), .events_listed_max = 500});
  review.header(test_header());
  levels.windows(review, 0, levels.scans());
  review.finish();
  EXPECT_EQ(review.result().DebugString().find("nan"), std::string::npos);
  EXPECT_EQ(review.result().DebugString().find("inf"), std::string::npos);
  EXPECT_EQ(review.drawings().DebugString().find("nan"), std::string::npos);
}

}  // namespace
}  // namespace host::detect
