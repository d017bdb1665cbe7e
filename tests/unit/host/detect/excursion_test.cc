// SPDX-License-Identifier: Apache-2.0
#include "host/detect/excursion.h"

#include <gtest/gtest.h>

#include "tests/unit/host/detect/rail_step_fixture.h"

namespace host::detect {
namespace {

constexpr ExcursionRule kLow = {
    .side = judge::Side::kLow, .limit = 11400000, .release = 11430000, .keep = {}, .merge_scans = 16, .least_scans = 4};

std::vector<int> flat(std::size_t scans, int level = 12000000) {
  return std::vector<int>(scans, level);
}

void fill(std::vector<int>& levels, std::size_t from, std::size_t to, int level) {
  for (std::size_t i = from; i < to; ++i) levels[i] = level;
}

// Worked by hand from the drawing: 11.30 V from 1000, 11.42 V (inside the hysteresis) from 1064, 11.35 from 1080, 11.50
// from 1112 for 10 scans (merged), 11.38 from 1122 to 1130; three scans of 11.20 at 2000 (dropped); four of 11.39 at
// 3000. Areas: (64 x 0.1 + 32 x 0.05 + 8 x 0.02) / 32,000 = 0.255 mV s and 4 x 0.01 / 32,000 = 0.00125 mV s.
TEST(ExcursionTrackerTest, HysteresisMergeAndLeastDuration) {
  std::vector<int> levels = flat(4000);
  fill(levels, 1000, 1064, 11300000);
  fill(levels, 1064, 1080, 11420000);
  fill(levels, 1080, 1112, 11350000);
  fill(levels, 1112, 1122, 11500000);
  fill(levels, 1122, 1130, 11380000);
  fill(levels, 2000, 2003, 11200000);
  fill(levels, 3000, 3004, 11390000);
  ExcursionTracker tracker(kLow);
  tracker.feed(0, levels);
  tracker.cut();
  const auto found = tracker.take();
  ASSERT_EQ(found.size(), 2U);
  EXPECT_EQ(found[0].start, 1000U);
  EXPECT_EQ(found[0].end, 1130U);
  EXPECT_EQ(found[0].extreme, 11300000);
  EXPECT_EQ(found[0].at, 1000U);
  EXPECT_NEAR(static_cast<double>(found[0].area) * 1e-6 / 32000, 0.255e-3, 1e-12);
  EXPECT_EQ(found[0].beyond, 64U + 32U + 8U);
  EXPECT_EQ(found[1].start, 3000U);
  EXPECT_EQ(found[1].end, 3004U);
  EXPECT_NEAR(static_cast<double>(found[1].area) * 1e-6 / 32000, 0.00125e-3, 1e-13);
  EXPECT_FALSE(found[0].truncated);
  EXPECT_EQ(tracker.dropped(), 1U);
}

// The same picture mirrored about 12 V against 12.60 V must give the same indices.
TEST(ExcursionTrackerTest, HighSideIsTheMirror) {
  std::vector<int> levels = flat(4000);
  fill(levels, 1000, 1064, 12700000);
  fill(levels, 1064, 1122, 12500000);
  fill(levels, 1130, 1135, 12650000);
  const ExcursionRule rule = {.side = judge::Side::kHigh,
                              .limit = 12600000,
                              .release = 12570000,
                              .keep = {},
                              .merge_scans = 16,
                              .least_scans = 4};
  const auto found = track_excursions(levels, rule);
  ASSERT_EQ(found.size(), 2U);
  EXPECT_EQ(found[0].start, 1000U);
  EXPECT_EQ(found[0].end, 1064U);
  EXPECT_EQ(found[0].extreme, 12700000);
  EXPECT_EQ(found[1].start, 1130U);
  EXPECT_EQ(found[1].area, 5U * 50000U);
}

TEST(ExcursionTrackerTest, LimitItselfIsInsideAndReleaseItselfEnds) {
  std::vector<int> levels = flat(100);
  fill(levels, 10, 20, 11400000);
  EXPECT_TRUE(track_excursions(levels, kLow).empty());
  fill(levels, 30, 40, 11399999);
  fill(levels, 40, 60, 11430000);
  const auto found = track_excursions(levels, kLow);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].end, 40U);
}

// Two of three scans each are dropped apart and kept as one when merged: merging comes first.
TEST(ExcursionTrackerTest, MergesBeforeDropping) {
  std::vector<int> levels = flat(200);
  fill(levels, 50, 53, 11390000);
  fill(levels, 69, 72, 11380000);  // 16 scans after the end of the first
  auto found = track_excursions(levels, kLow);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].start, 50U);
  EXPECT_EQ(found[0].end, 72U);
  EXPECT_EQ(found[0].at, 69U);
  levels = flat(200);
  fill(levels, 50, 53, 11390000);
  fill(levels, 70, 73, 11380000);  // 17: apart
  EXPECT_TRUE(track_excursions(levels, kLow).empty());
}

// A dip of one scan that noise cannot explain is kept however short.
TEST(ExcursionTrackerTest, DeepOnesAreKeptHoweverShort) {
  ExcursionRule rule = kLow;
  rule.keep = 11386000;
  std::vector<int> levels = flat(300);
  fill(levels, 100, 101, 11386000);
  fill(levels, 200, 201, 11386001);
  const auto found = track_excursions(levels, rule);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].start, 100U);
}

TEST(ExcursionTrackerTest, HoleClosesAndIsNeverBridged) {
  ExcursionTracker tracker(kLow);
  tracker.feed(0, flat(10, 11300000));
  tracker.feed(12, flat(10, 11300000));  // scans 10 and 11 were not seen
  tracker.cut();
  const auto found = tracker.take();
  ASSERT_EQ(found.size(), 2U);
  EXPECT_EQ(found[0].end, 10U);
  EXPECT_TRUE(found[0].truncated);
  EXPECT_EQ(found[1].start, 12U);
  EXPECT_TRUE(found[1].truncated);
}

TEST(ExcursionTrackerTest, SplittingTheStreamChangesNothing) {
  std::vector<int> levels = flat(300);
  fill(levels, 60, 80, 11390000);
  fill(levels, 90, 130, 11350000);
  const auto whole = track_excursions(levels, kLow);
  for (std::size_t cut = 0; cut <= levels.size(); ++cut) {
    ExcursionTracker tracker(kLow);
    const std::span<const int> all(levels);
    tracker.feed(0, all.first(cut));
    tracker.feed(cut, all.subspan(cut));
    tracker.cut();
    const auto found = tracker.take();
    ASSERT_EQ(found.size(), whole.size());
    EXPECT_EQ(found[0].start, whole[0].start);
    EXPECT_EQ(found[0].end, whole[0].end);
    EXPECT_EQ(found[0].area, whole[0].area);
  }
}

TEST(ExcursionTrackerTest, NothingInNothingOut) {
  EXPECT_TRUE(track_excursions({}, kLow).empty());
  ExcursionTracker tracker(kLow);
  tracker.cut();
  EXPECT_TRUE(tracker.take().empty());
}

// ngspice runs the netlist now; the indices were found on its traces by tests/reference/detectors/excursion.py, which
// its own test runs again.
TEST(ExcursionOnNgspiceTest, LooseConnectorAndWeakRail) {
  const RailTrace loose = run_ngspice(loose_connector());
  ASSERT_EQ(loose.tapa.size(), 641U);
  const auto at_a = track_excursions(microvolts(loose.tapa), kLow);
  ASSERT_EQ(at_a.size(), 1U);
  EXPECT_EQ(at_a[0].start, 67U);
  EXPECT_EQ(at_a[0].end, 387U);
  EXPECT_EQ(at_a[0].at, 76U);
  EXPECT_NEAR(at_a[0].extreme * 1e-6, 10.82848, 1e-5);
  EXPECT_TRUE(track_excursions(microvolts(loose.vo), kLow).empty());
  EXPECT_TRUE(track_excursions(microvolts(loose.tapb), kLow).empty());

  const RailTrace weak = run_ngspice(weak_12v());
  ASSERT_EQ(weak.vo.size(), 641U);
  struct Expected {
    const std::vector<double>& trace;
    std::uint64_t start, end, at;
    double extreme;
  };
  for (const Expected& expected : {Expected{weak.vo, 76, 138, 100, 10.06904}, Expected{weak.tapa, 69, 143, 99, 9.7157},
                                   Expected{weak.tapb, 75, 140, 101, 9.97697}}) {
    const auto found = track_excursions(microvolts(expected.trace), kLow);
    ASSERT_EQ(found.size(), 1U);
    EXPECT_EQ(found[0].start, expected.start);
    EXPECT_EQ(found[0].end, expected.end);
    EXPECT_EQ(found[0].at, expected.at);
    EXPECT_NEAR(found[0].extreme * 1e-6, expected.extreme, 1e-5);
  }
}

TEST(ExcursionOnNgspiceTest, HealthyAndTiredCapacitorsHaveNone) {
  for (const RailStep& step : {healthy(), tired_capacitors()}) {
    const RailTrace trace = run_ngspice(step);
    ASSERT_EQ(trace.vo.size(), 641U);
    EXPECT_TRUE(track_excursions(microvolts(trace.vo), kLow).empty());
    EXPECT_TRUE(track_excursions(microvolts(trace.tapa), kLow).empty());
    EXPECT_TRUE(track_excursions(microvolts(trace.tapb), kLow).empty());
  }
}

}  // namespace
}  // namespace host::detect
