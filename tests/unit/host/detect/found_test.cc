// SPDX-License-Identifier: Apache-2.0
#include "host/detect/found.h"

#include <algorithm>
#include <random>

#include <gtest/gtest.h>

#include "host/detect/capture_store.h"
#include "host/detect/reservoir.h"
#include "tests/unit/host/detect/session_fixture.h"

namespace host::detect {
namespace {

using steadyrail::proto::EVENT_KIND_SAG;

Found event(double severity, std::uint64_t start) {
  Found found;
  found.kind = EVENT_KIND_SAG;
  found.severity = severity;
  found.start = start;
  found.end = start + 1;
  return found;
}

// Whatever the order of arrival, the same events are listed: the most severe, of equals the earlier.
TEST(EventBookTest, OrderOfArrivalDoesNotMatter) {
  std::vector<Found> events;
  for (std::uint64_t i = 0; i < 100; ++i) events.push_back(event(static_cast<double>(i % 10), i));
  std::mt19937 random(3);
  for (int round = 0; round < 20; ++round) {
    std::ranges::shuffle(events, random);
    EventBook book(15);
    for (const Found& one : events) book.add(one);
    const auto listed = book.by_time();
    ASSERT_EQ(listed.size(), 15U);
    int nines = 0;
    for (const Found* one : listed) {
      nines += one->severity == 9;
      EXPECT_TRUE(one->severity == 9 || (one->severity == 8 && one->start <= 48));
    }
    EXPECT_EQ(nines, 10);
    EXPECT_EQ(book.counts()[0].counted, 85U);
  }
}

TEST(EventBookTest, RoomForNothingCountsEverything) {
  EventBook book(0);
  EXPECT_EQ(book.add(event(1, 1)), 0U);
  EXPECT_TRUE(book.by_time().empty());
  EXPECT_EQ(book.counts()[0].counted, 1U);
}

TEST(ReservoirTest, MedianIsExactUpToItsBound) {
  Reservoir reservoir;
  EXPECT_FALSE(reservoir.median().has_value());
  for (int i = 100; i >= 1; --i) reservoir.add(i);
  EXPECT_DOUBLE_EQ(reservoir.median().value(), 50.5);
}

// A sample of 501 from 1..100,000: the median's standard error is 100,000 / (2 sqrt(501)) = 2,234.
TEST(ReservoirTest, MedianOfALongStreamIsAnEstimate) {
  Reservoir reservoir;
  for (int i = 1; i <= 100000; ++i) reservoir.add(i);
  EXPECT_EQ(reservoir.seen(), 100000U);
  EXPECT_NEAR(reservoir.median().value(), 50000, 3 * 2234);
}

class CaptureSink : public decode::Sink {
 public:
  void capture(const decode::CaptureBatch& batch) override { store.add(batch); }
  std::vector<Capture> complete;
  CaptureStore store{[this](const Capture& capture) { complete.push_back(capture); }};
};

TEST(CaptureStoreTest, JoinsBlocksAndKeepsTheLastFew) {
  CaptureSink sink;
  const Levels levels(4000);
  for (std::uint32_t id = 1; id <= 12; ++id) {
    levels.capture(sink, 100, 1050, 500, steadyrail::proto::CAPTURE_CAUSE_EDGE, id);
  }
  ASSERT_EQ(sink.complete.size(), 12U);
  EXPECT_EQ(sink.complete[0].first, 100U);
  EXPECT_EQ(sink.complete[0].end, 1050U);
  EXPECT_EQ(sink.complete[0].codes[kMain].size(), 950U);
  EXPECT_TRUE(sink.complete[0].codes[23].empty());
  EXPECT_EQ(sink.store.kept().size(), CaptureStore::kKept);
}

TEST(CaptureStoreTest, EndlessCaptureIsCutAtItsBound) {
  CaptureSink sink;
  const std::array<std::uint8_t, 1> channels = {0};
  const std::vector<std::array<std::int16_t, wire::kCaptureScansMax>> codes(1);
  for (std::uint64_t block = 0; block < 1000; ++block) {
    decode::CaptureBatch batch;
    batch.capture = 1;
    batch.first_scan = 32 * block;
    batch.scan_count = 32;
    batch.remaining = 1;
    batch.channels = channels;
    batch.codes = codes;
    sink.store.add(batch);
  }
  EXPECT_GE(sink.complete.size(), 7U);
  for (const Capture& capture : sink.complete) EXPECT_LE(capture.end - capture.first, CaptureStore::kScansMost);
}

TEST(CaptureStoreTest, NonsenseIsLeftOut) {
  CaptureSink sink;
  decode::CaptureBatch batch;
  sink.store.add(batch);
  batch.capture = 1;
  batch.scan_count = 33;
  sink.store.add(batch);
  batch.scan_count = 1;
  batch.first_scan = UINT64_MAX;
  sink.store.add(batch);
  sink.store.finish();
  EXPECT_TRUE(sink.complete.empty());
}

}  // namespace
}  // namespace host::detect
