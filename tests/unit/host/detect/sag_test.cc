// SPDX-License-Identifier: Apache-2.0
#include "host/detect/sag.h"

#include <cmath>
#include <utility>

#include <gtest/gtest.h>

#include "host/detect/load_line.h"

namespace host::detect {
namespace {

constexpr double kRate = 32000;

/// Feeds `scans` single scans of one level; returns sags that ended.
std::vector<ScanSag> feed(SagTracker& tracker, std::uint64_t& at, std::uint64_t scans, double volts) {
  std::vector<ScanSag> ended;
  for (std::uint64_t i = 0; i < scans; ++i) {
    if (const auto sag = tracker.add(at++, 1, volts, volts)) ended.push_back(*sag);
  }
  return ended;
}

// 1 - exp(-1 / 32,000) = 3.12495e-5 by the series x - x^2/2; a 1 ms window follows by 9.995e-4.
TEST(SagTrackerTest, ReferenceFollowsByTheTimeConstant) {
  EXPECT_NEAR(follow_share(1 / kRate, 1), 3.125e-5 - 3.125e-5 * 3.125e-5 / 2, 1e-14);
  EXPECT_NEAR(follow_share(1e-3, 1), 9.995e-4, 1e-7);
  SagTracker tracker(kRate);
  std::uint64_t at = 0;
  feed(tracker, at, 1, 12.00);
  feed(tracker, at, 32000, 12.02);
  EXPECT_NEAR(tracker.reference(), 12.02 - 0.02 * std::exp(-1.0), 1e-9);  // one time constant
}

// Reference 12.02 V: starts below 11.7796, ends at or above 11.8397 V; least 11.60 V retains 96.5058 %, depth 3.4942 %.
TEST(SagTrackerTest, ThresholdsAndRetainedVoltage) {
  SagTracker tracker(kRate);
  std::uint64_t at = 0;
  feed(tracker, at, 100, 12.02);
  EXPECT_TRUE(feed(tracker, at, 1, 11.7797).empty());
  EXPECT_FALSE(tracker.open());
  SagTracker fresh(kRate);
  at = 0;
  feed(fresh, at, 100, 12.02);
  feed(fresh, at, 1, 11.7795);
  EXPECT_TRUE(fresh.open());
  feed(fresh, at, 10, 11.60);
  EXPECT_TRUE(feed(fresh, at, 5, 11.8396).empty());
  const auto ended = feed(fresh, at, 1, 11.8398);
  ASSERT_EQ(ended.size(), 1U);
  EXPECT_EQ(ended[0].start, 100U);
  EXPECT_EQ(ended[0].end, 116U);
  EXPECT_EQ(ended[0].at, 101U);
  EXPECT_NEAR(100 * ended[0].retained(), 96.505823627, 1e-6);
  EXPECT_NEAR(100 * ended[0].depth(), 3.494176373, 1e-6);
}

TEST(SagTrackerTest, ReferenceStandsStillInASagAndATenthOfASecondAfter) {
  SagTracker tracker(kRate);
  std::uint64_t at = 0;
  feed(tracker, at, 100, 12.0);
  feed(tracker, at, 6400, 11.0);
  EXPECT_DOUBLE_EQ(tracker.reference(), 12.0);
  feed(tracker, at, 3200, 11.9);
  EXPECT_DOUBLE_EQ(tracker.reference(), 12.0);
  feed(tracker, at, 320, 11.9);
  EXPECT_LT(tracker.reference(), 12.0);
}

TEST(SagTrackerTest, TenSecondsAreANewLevel) {
  SagTracker tracker(kRate);
  std::uint64_t at = 0;
  feed(tracker, at, 32000, 12.0);
  const auto ended = feed(tracker, at, 11 * 32000, 11.0);
  ASSERT_EQ(ended.size(), 1U);
  EXPECT_TRUE(ended[0].new_level);
  EXPECT_NEAR(tracker.reference(), 11.0, 1e-9);
  EXPECT_FALSE(tracker.open());
}

// "10 s" includes the tenth: sag from scan 32,000, new level at its 320,000th scan and not one later.
TEST(SagTrackerTest, TheNewLevelComesAtTenSecondsToTheScan) {
  SagTracker tracker(kRate);
  std::uint64_t at = 0;
  feed(tracker, at, 32000, 12.0);
  EXPECT_TRUE(feed(tracker, at, 10 * 32000 - 1, 11.0).empty());
  const auto ended = feed(tracker, at, 1, 11.0);
  ASSERT_EQ(ended.size(), 1U);
  EXPECT_EQ(ended[0].end - ended[0].start, 320000U);
}

// The last second of the ten: 0.4 s at 11.2 V in pieces of 10 ms, 0.6 s at 11.0 V between. Its median is 11.0 V; that
// of means of 31 ms, which blend the two, would not be.
TEST(SagTrackerTest, TheNewLevelIsTheMedianOfTheLastSecond) {
  SagTracker tracker(kRate);
  std::uint64_t at = 0;
  feed(tracker, at, 32000, 12.0);
  EXPECT_TRUE(feed(tracker, at, 9 * 32000, 11.5).empty());
  for (int i = 0; i < 40; ++i) {
    feed(tracker, at, 480, 11.0);
    feed(tracker, at, 320, 11.2);
  }
  EXPECT_FALSE(tracker.open());
  EXPECT_DOUBLE_EQ(tracker.reference(), 11.0);
}

// The rail stays 3 % down but touches its old level for 50 ms every second: each touch ends a sag and keeps the
// reference still for another 100 ms. Without a bound on the whole it would never move again.
TEST(SagTrackerTest, SagsInARowDoNotHoldTheReferenceForEver) {
  SagTracker tracker(kRate);
  std::uint64_t at = 0;
  feed(tracker, at, 32000, 12.0);
  std::size_t sags = 0;
  for (int second = 0; second < 20; ++second) {
    for (const auto& [scans, volts] : {std::pair{30400U, 11.64}, std::pair{1600U, 11.90}}) {
      sags += feed(tracker, at, scans, volts).size();
    }
  }
  EXPECT_EQ(sags, 10U);
  EXPECT_NEAR(tracker.reference(), 11.64, 0.03);
}

TEST(SagTrackerTest, HoleTruncatesAndKeepsTheReference) {
  SagTracker tracker(kRate);
  std::uint64_t at = 0;
  feed(tracker, at, 100, 12.0);
  feed(tracker, at, 10, 11.0);
  const auto ended = tracker.cut();
  ASSERT_TRUE(ended.has_value());
  EXPECT_TRUE(ended->truncated);
  EXPECT_EQ(ended->end, 110U);
  EXPECT_DOUBLE_EQ(tracker.reference(), 12.0);
  EXPECT_FALSE(tracker.cut().has_value());
}

// v = 12.10 - 9 mohm I1 - 2 mohm I2 exactly: the line must find both coefficients, whatever it began with.
TEST(LoadLineTest, LearnsBothResistances) {
  LoadLine line(12, 2, 0);
  for (int i = 0; i < 400; ++i) {
    const double amps[] = {5.0 + 5 * (i % 4), 3.0 + 4 * (i % 3)};
    line.learn(12.10 - 9e-3 * amps[0] - 2e-3 * amps[1], amps);
  }
  EXPECT_NEAR(line.resistance(0), 9e-3, 0.05e-3);
  EXPECT_NEAR(line.resistance(1), 2e-3, 0.05e-3);
}

// 35 mohm more for a while is 0.9 V at 25 A: an opened contact must not be learnt as the line, a lasting one must.
TEST(LoadLineTest, IgnoresAContactThatOpensAndAcceptsANewLine) {
  LoadLine line(12, 1, 0);
  const auto learn = [&](double ohm, int i) {
    const double amps[] = {5.0 + 5 * (i % 5)};
    return line.learn(12.10 - ohm * amps[0], amps);
  };
  for (int i = 0; i < 200; ++i) learn(9e-3, i);
  for (int i = 0; i < 30; ++i) learn(i % 5 == 0 ? 9e-3 : 44e-3, i);
  EXPECT_NEAR(line.resistance(0), 9e-3, 0.2e-3);
  for (int i = 0; i < 1000; ++i) {
    const double amps[] = {20.0 + i % 5};
    line.learn(12.10 - 44e-3 * amps[0], amps);
  }
  for (int i = 0; i < 400; ++i) learn(44e-3, i);
  EXPECT_NEAR(line.resistance(0), 44e-3, 1e-3);
}

TEST(LoadLineTest, UnexcitedDirectionsKeepTheirPrior) {
  LoadLine line(12, 2, 0);
  for (int i = 0; i < 100000; ++i) {
    const double amps[] = {5.0 + 5 * (i % 4), 0.0};
    line.learn(12.10 - 9e-3 * amps[0] + 1e-3 * ((i * 7) % 5 - 2), amps);
  }
  EXPECT_NEAR(line.resistance(1), 1e-3, 0.01e-3);
  EXPECT_NEAR(line.resistance(0), 9e-3, 0.3e-3);
}

}  // namespace
}  // namespace host::detect
