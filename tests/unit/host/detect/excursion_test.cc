// SPDX-License-Identifier: Apache-2.0
#include "host/detect/excursion.h"

#include <algorithm>
#include <cmath>
#include <numbers>

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

/// What the jig reads of a rectangular dip of `depth` V below 12 V and `width_s`, sampled `phase` of a scan after its
/// start: two equal poles in closed form, s(t) = 1 - e^(-t/tau) (1 + t/tau), at 14.2 kHz and 32 kS/s.
std::vector<int> read_dip(double depth, double width_s, double phase) {
  const double tau = 1 / (2 * std::numbers::pi * 14200);
  const auto response = [&](double t) { return t < 0 ? 0.0 : 1 - std::exp(-t / tau) * (1 + t / tau); };
  std::vector<int> levels = flat(200);
  for (std::size_t i = 100; i < 200; ++i) {
    const double t = (static_cast<double>(i - 100) + phase) / 32000;
    levels[i] = static_cast<int>(std::lround((12 - depth * (response(t) - response(t - width_s))) * 1e6));
  }
  return levels;
}

// Short dips against 11.40 V with U + 6 sigma of noise = 10.4 + 3.6 mV = 14 mV.
TEST(ExcursionTrackerTest, ShortDeepDipsAreListedAtEveryPhase) {
  ExcursionRule rule = kLow;
  rule.keep = 11386000;
  double least = 12;
  double most = 0;
  for (double phase = 0; phase < 1; phase += 0.01) {
    const auto deep = track_excursions(read_dip(2.0, 31e-6, phase), rule);
    ASSERT_EQ(deep.size(), 1U) << phase;
    EXPECT_LE(deep[0].beyond, 2U) << phase;
    least = std::min(least, deep[0].extreme * 1e-6);
    most = std::max(most, deep[0].extreme * 1e-6);
    // 0.65 V for 100 us, true bottom 11.35 V.
    const auto wide = track_excursions(read_dip(0.65, 100e-6, phase), rule);
    ASSERT_EQ(wide.size(), 1U) << phase;
    EXPECT_NEAR(wide[0].extreme * 1e-6, 11.3545, 0.005) << phase;
  }
  // 2.0 V for 31 us reads 10.44 to 11.05 V, by the phase (an independent figure, two digits).
  EXPECT_NEAR(least, 10.44, 0.03);
  EXPECT_NEAR(most, 11.06, 0.03);
}

// 0.6 V for 31 us, true bottom at the limit, is not listed at any phase; chatter within the noise is counted alone.
TEST(ExcursionTrackerTest, ShortShallowOnesAreOnlyCounted) {
  ExcursionRule rule = kLow;
  rule.keep = 11386000;
  for (double phase = 0; phase < 1; phase += 0.02) {
    EXPECT_TRUE(track_excursions(read_dip(0.6, 31e-6, phase), rule).empty()) << phase;
  }
  ExcursionTracker tracker(rule);
  std::vector<int> chatter = flat(1000);
  for (std::size_t i = 100; i < 1000; i += 100) chatter[i] = 11399000 - static_cast<int>(i);
  tracker.feed(0, chatter);
  tracker.cut();
  EXPECT_TRUE(tracker.take().empty());
  EXPECT_EQ(tracker.dropped(), 9U);
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
