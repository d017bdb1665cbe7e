// SPDX-License-Identifier: Apache-2.0
// The chip's excursions beside the windows of the same session; figures follow by hand from the levels drawn.
#include <array>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "host/detect/arm.h"
#include "host/detect/review.h"
#include "host/judge/under_read.h"
#include "tests/unit/host/detect/session_fixture.h"

namespace host::detect {
namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

Event chip_excursion(std::uint64_t start, std::uint64_t end, double volts, std::uint64_t at) {
  Event event;
  auto* excursion = event.mutable_excursion();
  excursion->set_channel(kMain);
  excursion->set_side(SIDE_LOW);
  excursion->set_armed_set(kArmedSet);
  excursion->set_start_scan(start);
  excursion->set_end_scan(end);
  excursion->set_extreme_code(static_cast<int>(std::lround((volts - 9.8) / 3e-4)));
  excursion->set_extreme_scan(at);
  excursion->set_area_code_scans(static_cast<std::uint64_t>(std::lround((11.4 - volts) / 3e-4)) * (end - start));
  return event;
}

// A rail that leaves its limits while PWR_OK still stands is judged on what it did until then, though the chip's event
// runs on through six seconds of silence.
TEST(ChipEventsTest, ExcursionThatEndsInASwitchOffIsJudgedOnItsFirstPart) {
  const LimitSet limits = test_limits();
  Levels levels(9 * 32000);
  levels.set(kMain, 32000, 32160, 11.00);
  levels.set(kMain, 32160, 7 * 32000, 0.05);
  levels.set(kPwrOk, 32160, 7 * 32000, 0);
  Review review({.limits = limits, .unit = {}, .events_listed_max = 500});
  review.header(test_header("test-edition"));
  levels.windows(review, 0, 7 * 32000, 0, 32, kArmedSet, &limits);
  review.event(chip_excursion(32000, 7 * 32000, 0.05, 32160));
  levels.windows(review, 7 * 32000, 9 * 32000, 0, 32, kArmedSet, &limits);
  review.finish();
  const SessionResult result = review.result();
  const auto events = events_of(result, EVENT_KIND_EXCURSION);
  ASSERT_EQ(events.size(), 1U);
  EXPECT_NEAR(events[0].extreme_v(), 11.00, 1e-3);
  EXPECT_NEAR(events[0].duration_s(), 5e-3, events[0].duration_uncertainty_s() + 1e-9);
  EXPECT_EQ(events[0].decision(), DECISION_FAIL);
  EXPECT_NEAR(verdict_of(result, "main-12v", QUANTITY_DYNAMIC).value(), 11.00, 1e-3);
  for (const auto& remark : result.remarks()) EXPECT_EQ(remark.find("chip"), std::string::npos) << remark;
}

// The chip's word takes the place of the windows': exact to the scan, listed once.
TEST(ChipEventsTest, ChipEventsReplaceTheWindowsView) {
  const LimitSet limits = test_limits();
  Levels levels(64000);
  levels.set(kMain, 10000, 10320, 11.30);
  Review review({.limits = limits, .unit = {}, .events_listed_max = 500});
  review.header(test_header("test-edition"));
  review.event(chip_excursion(10000, 10320, 11.30, 10000));
  levels.windows(review, 0, levels.scans(), 0, 32, kArmedSet, &limits);
  review.finish();
  const SessionResult result = review.result();
  const auto events = events_of(result, EVENT_KIND_EXCURSION);
  ASSERT_EQ(events.size(), 1U);
  EXPECT_EQ(events[0].source(), FIGURE_SOURCE_CHIP);
  EXPECT_DOUBLE_EQ(events[0].start_s(), 10000 / 32000.0);
  EXPECT_DOUBLE_EQ(events[0].duration_s(), 320 / 32000.0);
  EXPECT_NEAR(events[0].duration_uncertainty_s(), 2 / 32000.0 / std::sqrt(6.0), 1e-9);
  EXPECT_NEAR(events[0].area_vs(), 0.1 * 0.01, 5e-6);
  EXPECT_EQ(events[0].decision(), DECISION_FAIL);
  ASSERT_TRUE(events[0].has_bias_bound_v());
  // A flat bottom of 320 scans would hide nothing; without a capture it may be a peak, and its 0.7 V bound the flanks.
  const judge::UnderRead chain(std::array<double, 2>{14200, 14200}, 32000);
  EXPECT_NEAR(events[0].bias_bound_v(), chain.bound_of_span(0.7).value(), 1e-3);
  for (const auto& remark : result.remarks()) EXPECT_EQ(remark.find("chip"), std::string::npos) << remark;
}

// One scan bounds no width: what the chain hides is unbounded, so such an event never passes. At 11.30 V it fails all
// the same: hidden depth only makes it worse.
TEST(ChipEventsTest, SingleScanHasNoBound) {
  const LimitSet limits = test_limits();
  Levels levels(64000);
  levels.set(kMain, 10000, 10001, 11.395);
  Review review({.limits = limits, .unit = {}, .events_listed_max = 500});
  review.header(test_header("test-edition"));
  review.event(chip_excursion(10000, 10001, 11.395, 10000));
  levels.windows(review, 0, levels.scans(), 0, 32, kArmedSet, &limits);
  review.finish();
  const auto events = events_of(review.result(), EVENT_KIND_EXCURSION);
  ASSERT_EQ(events.size(), 1U);
  EXPECT_FALSE(events[0].has_bias_bound_v());
  EXPECT_EQ(events[0].decision(), DECISION_UNDECIDED);
}

TEST(ChipEventsTest, ContradictionsOfChipAndWindowsAreRemarked) {
  const LimitSet limits = test_limits();
  Levels deep(96000);
  deep.set(kMain, 10000, 10320, 11.0);
  Review silent({.limits = limits, .unit = {}, .events_listed_max = 500});
  silent.header(test_header("test-edition"));
  deep.windows(silent, 0, deep.scans(), 0, 32, kArmedSet, &limits);
  silent.finish();
  EXPECT_EQ(events_of(silent.result(), EVENT_KIND_EXCURSION).size(), 1U);  // not lost, from the windows
  const auto told = [](const SessionResult& result, const char* words) {
    for (const auto& remark : result.remarks()) {
      if (remark.find(words) != std::string::npos) return true;
    }
    return false;
  };
  EXPECT_TRUE(told(silent.result(), "not reported by the chip"));

  Review invented({.limits = limits, .unit = {}, .events_listed_max = 500});
  invented.header(test_header("test-edition"));
  invented.event(chip_excursion(10000, 10320, 11.30, 10000));
  Levels(64000).windows(invented, 0, 64000, 0, 32, kArmedSet, &limits);
  invented.finish();
  EXPECT_TRUE(told(invented.result(), "no window counts a scan"));
}

TEST(ChipEventsTest, StormIsListedOnceAndCounted) {
  const LimitSet limits = test_limits();
  Levels levels(64000);
  levels.set(kMain, 10000, 20000, 11.30);
  Review review({.limits = limits, .unit = {}, .events_listed_max = 500});
  review.header(test_header("test-edition"));
  Event event;
  auto* storm = event.mutable_storm();
  storm->set_channel(kMain);
  storm->set_side(SIDE_LOW);
  storm->set_excursions(40);
  storm->set_first_scan(10000);
  storm->set_last_scan(19999);
  storm->set_extreme_code(5000);
  storm->set_scans_beyond(10000);
  review.event(event);
  levels.windows(review, 0, levels.scans(), 0, 32, kArmedSet, &limits);
  review.finish();
  const SessionResult result = review.result();
  ASSERT_EQ(events_of(result, EVENT_KIND_EXCURSION).size(), 1U);
  const EventResult listed = events_of(result, EVENT_KIND_EXCURSION)[0];
  EXPECT_NE(listed.note().find("storm of 40 excursions"), std::string::npos);
  EXPECT_EQ(listed.storm_excursions(), 40U);
  EXPECT_FALSE(listed.has_area_vs());
  // 10,000 scans of 40 excursions give no width: what the deepest hides is unbounded.
  EXPECT_FALSE(listed.has_bias_bound_v());
  EXPECT_EQ(count_of(result, EVENT_KIND_EXCURSION, "main-12v").counted(), 39U);
}

// What is short and within the noise of the limit is not listed; how long each was is kept, on both sides.
TEST(ChipEventsTest, ShortOnesAreCountedByTheirScans) {
  const LimitSet limits = test_limits();
  Levels levels(64000);
  levels.set(kMain, 10000, 10001, 11.397);
  levels.set(kMain, 20000, 20002, 11.397);
  levels.set(kMain, 30000, 30002, 12.603);
  levels.set(kMain, 40000, 40003, 12.603);
  Review review({.limits = limits, .unit = {}, .events_listed_max = 500});
  review.header(test_header("test-edition"));
  levels.windows(review, 0, levels.scans(), 0, 32, kArmedSet, &limits);
  review.finish();
  const SessionResult result = review.result();
  EXPECT_TRUE(events_of(result, EVENT_KIND_EXCURSION).empty());
  const EventCount count = count_of(result, EVENT_KIND_EXCURSION, "main-12v");
  EXPECT_EQ(count.counted(), 4U);
  EXPECT_EQ(std::vector<std::uint64_t>(count.short_by_scans().begin(), count.short_by_scans().end()),
            (std::vector<std::uint64_t>{0, 1, 2, 1, 0}));
}

TEST(ChipEventsTest, NonsenseIsLeftOut) {
  const LimitSet limits = test_limits();
  Review review({.limits = limits, .unit = {}, .events_listed_max = 500});
  review.header(test_header("test-edition"));
  review.event(chip_excursion(UINT64_MAX - 5, UINT64_MAX, 11.0, UINT64_MAX - 5));
  review.event(chip_excursion(500, 400, 11.0, 450));
  Event strange = chip_excursion(100, 200, 11.0, 100);
  strange.mutable_excursion()->set_channel(77);
  review.event(strange);
  strange = chip_excursion(100, 200, 11.0, 100);
  strange.mutable_excursion()->set_armed_set(9);
  review.event(strange);
  review.event(Event());
  Levels(32000).windows(review, 0, 32000, 0, 32, kArmedSet, &limits);
  review.finish();
  EXPECT_TRUE(review.result().events().empty());
  EXPECT_EQ(verdict_of(review.result(), "main-12v", QUANTITY_DYNAMIC).decision(), DECISION_PASS);
}

}  // namespace
}  // namespace host::detect
