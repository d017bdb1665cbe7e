// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/capture_store.h"

#include <gtest/gtest.h>

#include <map>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

using testing::JigFixture;
using testing::low_limit;
using testing::of_kind;
using testing::Random;
namespace proto = steadyrail::proto;

constexpr std::uint8_t kPwrOk = 1;  // values of the schema's Line
constexpr std::uint8_t kMarker = 4;

/// Steps like a load in play, so that columns take both forms of packing.
std::int16_t lively(std::uint64_t scan, std::size_t channel) {
  Random random(scan * 24 + channel);
  random.next();
  const auto level = static_cast<std::int32_t>(scan / 700 % 3 * 400 * (channel % 5));
  return static_cast<std::int16_t>(level + random.between(-20, 20) - 1000 * static_cast<std::int32_t>(channel));
}

struct Heard {
  std::uint64_t trigger_scan = 0;
  proto::CaptureCause cause = proto::CAPTURE_CAUSE_UNKNOWN;
  std::map<std::uint64_t, std::uint32_t> channels_by_scan;
  std::uint32_t remaining = 0;
};

/// Reads the capture frames; expects every code to be that of `signal`.
std::map<std::uint32_t, Heard> read(const std::vector<testing::HeardFrame>& frames, const testing::Signal& signal) {
  std::map<std::uint32_t, Heard> captures;
  for (const auto& message : of_kind(frames, proto::JigToHost::kCapture)) {
    const proto::CaptureBlock& block = message.capture();
    const bool known = captures.contains(block.capture());
    Heard& capture = captures[block.capture()];
    if (known) {
      EXPECT_EQ(block.remaining(), capture.remaining - 1);
    }
    capture.remaining = block.remaining();
    capture.trigger_scan = block.trigger_scan();
    capture.cause = block.cause();
    std::array<std::array<std::int16_t, 32>, 24> codes{};
    const auto channels = static_cast<std::size_t>(std::popcount(block.channel_mask()));
    EXPECT_TRUE(wire::decode_capture(std::as_bytes(std::span(message.body())), channels, block.scan_count(), codes));
    std::size_t column = 0;
    for (std::size_t c = 0; c < 24; ++c) {
      if ((block.channel_mask() >> c & 1) == 0) continue;
      for (std::uint32_t s = 0; s < block.scan_count(); ++s) {
        EXPECT_EQ(codes[column][s], signal(block.first_scan() + s, c));
        capture.channels_by_scan[block.first_scan() + s] |= std::uint32_t{1} << c;
      }
      ++column;
    }
  }
  return captures;
}

void expect_whole(const Heard& capture, std::uint64_t first, std::uint64_t end) {
  EXPECT_EQ(capture.remaining, 0U);
  ASSERT_EQ(capture.channels_by_scan.size(), end - first);
  EXPECT_EQ(capture.channels_by_scan.begin()->first, first);
  for (const auto& [scan, channels] : capture.channels_by_scan) EXPECT_EQ(channels, 0xFFFFFFU) << scan;
}

LineEdge edge_at(std::uint64_t scan, std::uint8_t line = kPwrOk) {
  return {.line = line, .high = false, .offset_256 = 0, .scan = scan, .pulse_ns = 0};
}

TEST(CaptureStoreTest, SendsEveryChannelAroundAnEdgeCodeByCode) {
  JigFixture jig;
  jig.begin({});
  jig.play(lively, 30);
  jig.edge(edge_at(970));
  jig.play(lively, 60);
  const auto captures = read(jig.heard(), lively);
  ASSERT_EQ(captures.size(), 1U);
  EXPECT_EQ(captures.at(1).cause, proto::CAPTURE_CAUSE_EDGE);
  EXPECT_EQ(captures.at(1).trigger_scan, 970U);
  expect_whole(captures.at(1), 970 - 320, 970 + 640);  // the defaults
}

TEST(CaptureStoreTest, BeginsWithTheRunWhenItHasNotLastedLongEnough) {
  JigFixture jig;
  jig.begin({});
  jig.edge(edge_at(5));
  jig.play(lively, 40);
  expect_whole(read(jig.heard(), lively).at(1), 0, 645);
}

TEST(CaptureStoreTest, EndsAtAGapAndAtStop) {
  JigFixture jig;
  jig.begin({});
  jig.play(lively, 20);
  jig.edge(edge_at(640));
  jig.play(lively, 2);
  jig.lose(9);
  jig.play(lively, 4);
  jig.edge(edge_at(841));
  jig.play(lively, 4);
  jig.stop();
  const auto captures = read(jig.heard(), lively);
  ASSERT_EQ(captures.size(), 2U);
  expect_whole(captures.at(1), 320, 704);
  expect_whole(captures.at(2), 713, 713 + 256);
}

TEST(CaptureStoreTest, LeavesASlotForEdgesWhenExcursionsTakeTheRest) {
  proto::Arm arm;
  arm.set_set(1);
  *arm.add_limits() = low_limit(0, -500);
  JigFixture jig;
  jig.begin(arm, [](auto& configure) {
    configure.set_capture_before_scans(32);
    configure.set_capture_after_scans(64);
  });
  // An excursion every 4 ms, and a line that takes nothing: three slots fill, the fourth stays.
  const auto dips = [](std::uint64_t scan, std::size_t channel) {
    return static_cast<std::int16_t>(channel == 0 && scan % 128 == 100 ? -600 : 0);
  };
  jig.play(dips, 40, 0);
  EXPECT_EQ(jig.health().captures_late, 10U - 3);
  jig.edge(edge_at(40 * 32 + 3));
  jig.play(dips, 10, 0);
  jig.edge(edge_at(50 * 32 + 3));  // the reserve is in use now
  jig.play(dips, 1, 0);
  jig.talk();
  std::map<proto::CaptureCause, int> causes;
  for (const auto& [number, capture] : read(jig.heard(), dips)) ++causes[capture.cause];
  EXPECT_EQ(causes[proto::CAPTURE_CAUSE_EXCURSION], 3);
  EXPECT_EQ(causes[proto::CAPTURE_CAUSE_EDGE], 1);
  EXPECT_EQ(jig.health().captures_late, 7U + 2 + 1);
}

TEST(CaptureStoreTest, DoesNotTakeTwiceWhatACaptureAlreadyHolds) {
  JigFixture jig;
  jig.begin({});
  jig.play(lively, 20);
  for (const std::uint64_t scan : {642U, 650U, 660U}) jig.edge(edge_at(scan));
  jig.play(lively, 60);
  EXPECT_EQ(read(jig.heard(), lively).size(), 1U);
  EXPECT_EQ(jig.health().captures_late, 0U);
}

TEST(CaptureStoreTest, CutsACaptureThatDoesNotFitAndCountsIt) {
  const auto noise = [](std::uint64_t scan, std::size_t channel) {
    Random random(scan * 31 + channel);
    random.next();
    return static_cast<std::int16_t>(random.between(-32000, 32000));
  };
  JigFixture jig;
  jig.begin({}, [](auto& configure) {
    configure.set_capture_before_scans(512);
    configure.set_capture_after_scans(1536);
  });
  jig.play(noise, 40, 0);
  jig.edge(edge_at(1282));
  jig.play(noise, 60, 0);  // 2,048 scans of 24 channels at 2 bytes are 96 KiB: more than the 40 KiB there are
  EXPECT_EQ(jig.health().captures_dropped, 1U);
  jig.talk();
  const auto captures = read(jig.heard(), noise);
  ASSERT_EQ(captures.size(), 1U);
  EXPECT_EQ(captures.at(1).remaining, 0U);
  EXPECT_GT(captures.at(1).channels_by_scan.size(), 700U);
  const auto calm = [](std::uint64_t scan, std::size_t) { return static_cast<std::int16_t>(scan % 4); };
  jig.play(calm, 40);
  jig.edge(edge_at(4500));  // and the pages are free again
  jig.play(calm, 60);
  expect_whole(read(jig.heard(), calm).at(2), 4500 - 512, 4500 + 1536);
}

TEST(CaptureStoreTest, PassesOnEdgesWithTheirTimesAndCapturesNoMarker) {
  JigFixture jig;
  jig.begin({});
  LineEdge glitch = edge_at(7, 2);
  glitch.high = true;
  glitch.offset_256 = 64;
  glitch.pulse_ns = 2000;
  jig.play(lively, 1);
  jig.heard();
  jig.edge(edge_at(33, kMarker));
  jig.play(lively, 60);
  EXPECT_TRUE(of_kind(jig.heard(), proto::JigToHost::kCapture).empty());
  jig.edge(glitch);
  jig.play(lively, 1);
  const auto events = testing::events_of(jig.heard(), proto::Event::kEdge);
  ASSERT_EQ(events.size(), 1U);
  EXPECT_EQ(events[0].edge().line(), proto::LINE_PS_ON);
  EXPECT_TRUE(events[0].edge().high());
  EXPECT_EQ(events[0].edge().offset_256(), 64U);
  EXPECT_EQ(events[0].edge().pulse_ns(), 2000U);
  jig.stop();
  EXPECT_EQ(jig.heard().back().message.status().lines(), 1U << 1);
}

}  // namespace
}  // namespace firmware
