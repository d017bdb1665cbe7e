// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/telemetry.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <map>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

using testing::events_of;
using testing::JigFixture;
using testing::low_limit;
using testing::of_kind;
using testing::Random;
namespace proto = steadyrail::proto;

std::int16_t quiet(std::uint64_t, std::size_t channel) {
  return static_cast<std::int16_t>(1000 * channel);
}

/// Wide noise on every channel: the worst a window codec can meet.
std::int16_t noise(std::uint64_t scan, std::size_t channel) {
  Random random(scan * 31 + channel);
  random.next();
  return static_cast<std::int16_t>(random.between(-30000, 30000));
}

TEST(TelemetryTest, NumbersFramesWithoutAGapAcrossTheEndOfTheCounter) {
  JigFixture jig(Mode::kObserve, 0xFFFFFFF0);
  jig.begin({});
  jig.play(quiet, 1000);
  const auto frames = jig.heard();
  bool wrapped = false;
  for (std::size_t k = 1; k < frames.size(); ++k) {
    EXPECT_EQ(frames[k].message.sequence(), frames[k - 1].message.sequence() + 1);
    wrapped = wrapped || frames[k].message.sequence() == 0;
  }
  EXPECT_TRUE(wrapped);
}

TEST(TelemetryTest, MarksTimeEveryQuarterAndStatusEverySecond) {
  JigFixture jig;
  jig.configure();
  jig.start();
  jig.play(quiet, 2000);
  const auto frames = jig.heard();
  std::vector<std::uint64_t> marks;
  for (const auto& mark : of_kind(frames, proto::JigToHost::kTimeMark)) marks.push_back(mark.time_mark().scan());
  EXPECT_EQ(marks, (std::vector<std::uint64_t>{0, 8000, 16000, 24000, 32000, 40000, 48000, 56000, 64000}));
  std::vector<std::uint64_t> statuses;
  for (const auto& status : of_kind(frames, proto::JigToHost::kStatus)) statuses.push_back(status.status().scan());
  EXPECT_EQ(statuses, (std::vector<std::uint64_t>{0, 32000, 64000}));
}

TEST(TelemetryTest, StampsATimeMarkWithTheScanAtWhichItsOwnTransmissionBegins) {
  JigFixture jig;
  jig.configure();
  jig.start();
  jig.play(quiet, 249);
  jig.play(quiet, 20, 0);  // due at scan 8,000, and the line is held up for 19 ms more
  jig.play(quiet, 1);
  std::vector<std::uint64_t> marks;
  for (const auto& mark : of_kind(jig.heard(), proto::JigToHost::kTimeMark)) marks.push_back(mark.time_mark().scan());
  EXPECT_EQ(marks, (std::vector<std::uint64_t>{0, 270 * 32}));
}

struct Extremes {
  std::int16_t min = 32767;
  std::int16_t max = -32768;
  std::uint64_t below = 0;
  std::uint64_t scans = 0;
};

/// Joins what the window frames say; expects them to follow one another without a hole from `first`.
std::array<Extremes, 24> joined(const std::vector<testing::HeardFrame>& frames, std::uint64_t first) {
  std::array<Extremes, 24> all;
  for (const auto& message : of_kind(frames, proto::JigToHost::kWindows)) {
    EXPECT_EQ(message.windows().first_scan(), first);
    const wire::DecodedWindows windows = testing::windows_of(message);
    first += message.windows().scans_per_window() * windows.window_count;
    for (std::size_t c = 0; c < 24; ++c) {
      for (std::size_t w = 0; w < windows.window_count; ++w) {
        all[c].min = std::min(all[c].min, windows.channels[c].min[w]);
        all[c].max = std::max(all[c].max, windows.channels[c].max[w]);
        all[c].below += windows.channels[c].below[w];
        all[c].scans += message.windows().scans_per_window();
      }
    }
  }
  return all;
}

TEST(TelemetryTest, LosesNoExtremeAndNoCountOnALineTenTimesTooSlow) {
  proto::Arm arm;
  arm.set_set(1);
  *arm.add_limits() = low_limit(4, -29000);
  JigFixture jig;
  constexpr std::uint32_t kBytesPerMs = 20;
  jig.begin(arm, [](proto::Configure& configure) {
    configure.set_line_bytes_per_s(kBytesPerMs * 1000);
    configure.set_events_per_s(1);
  });
  jig.play(noise, 2048, kBytesPerMs);
  jig.stop();
  const auto frames = jig.heard();
  EXPECT_EQ(jig.health().blocks_dropped, 0U);
  EXPECT_GT(jig.health().blocks_merged, 0U);
  const auto got = joined(frames, 0);
  std::array<Extremes, 24> truth;
  for (std::uint64_t scan = 0; scan < 2048 * 32; ++scan) {
    for (std::size_t c = 0; c < 24; ++c) {
      const std::int16_t code = noise(scan, c);
      truth[c].min = std::min(truth[c].min, code);
      truth[c].max = std::max(truth[c].max, code);
      truth[c].below += c == 4 && code < -29000 ? 1 : 0;
    }
  }
  for (std::size_t c = 0; c < 24; ++c) {
    EXPECT_EQ(got[c].scans, 2048U * 32);
    EXPECT_EQ(got[c].min, truth[c].min);
    EXPECT_EQ(got[c].max, truth[c].max);
    EXPECT_EQ(got[c].below, truth[c].below);
  }
}

TEST(TelemetryTest, KeepsWindowsWithinTheirShareOfTheLine) {
  JigFixture jig;
  jig.configure(32, 60000);
  jig.start();
  jig.play(noise, 4096, 60);
  std::size_t bytes = 0;
  std::uint64_t scans = 0;
  for (const auto& frame : jig.heard()) {
    if (!frame.message.has_windows()) continue;
    bytes += frame.frame_bytes;
    scans += frame.message.windows().scans_per_window() * frame.message.windows().window_count();
  }
  // 60 % of 60,000 B/s over so many scans.
  EXPECT_LE(bytes, 36000 * scans / 32000);
  EXPECT_GT(scans, 4000U * 32);
}

TEST(TelemetryTest, NeverDelaysSamplingWhenTheLineIsDead) {
  JigFixture jig;
  jig.configure();
  jig.start();
  jig.play(noise, 3000, 0);
  EXPECT_EQ(jig.health().next_scan, 3000U * 32);
  EXPECT_GT(jig.health().blocks_dropped, 0U);  // and says so
}

TEST(TelemetryTest, SendsAnAcknowledgementBeforeWhatHasBeenWaiting) {
  JigFixture jig;
  jig.configure();
  jig.start();
  jig.play(quiet, 40, 0);  // status, time mark and windows wait
  jig.line.budget = 0;
  jig.keep_alive();
  jig.line.budget = SIZE_MAX;
  jig.heard();
  jig.talk();
  const auto frames = jig.heard();
  ASSERT_GE(frames.size(), 2U);
  EXPECT_EQ(frames[0].message.content_case(), proto::JigToHost::kAcknowledgement);
  EXPECT_EQ(frames.back().message.content_case(), proto::JigToHost::kWindows);
}

TEST(TelemetryTest, CountsLostScansAndLeavesTheHoleOpen) {
  JigFixture jig;
  jig.configure(64);
  jig.start();
  jig.play(quiet, 3);
  jig.lose(7);
  jig.play(quiet, 2);
  jig.stop();
  const auto frames = jig.heard();
  std::vector<std::array<std::uint64_t, 3>> blocks;
  for (const auto& message : of_kind(frames, proto::JigToHost::kWindows)) {
    const auto& windows = message.windows();
    blocks.push_back({windows.first_scan(), windows.scans_per_window(), windows.window_count()});
  }
  using Blocks = std::vector<std::array<std::uint64_t, 3>>;
  EXPECT_EQ(blocks, (Blocks{{0, 64, 1}, {64, 32, 1}, {103, 64, 1}}));
  EXPECT_EQ(frames.back().message.status().scans_lost(), 7U);
}

TEST(TelemetryTest, ReportsClippedChannelsInBlockAndStatus) {
  JigFixture jig;
  jig.configure();
  jig.start();
  jig.play([](std::uint64_t, std::size_t channel) { return static_cast<std::int16_t>(channel == 9 ? 32767 : 0); }, 32);
  jig.stop();
  const auto frames = jig.heard();
  EXPECT_EQ(of_kind(frames, proto::JigToHost::kWindows).at(0).windows().clipped_mask(), 1U << 9);
  EXPECT_EQ(frames.back().message.status().clipped_mask(), 1U << 9);
}

TEST(TelemetryTest, StreamsRawScansOfTheChannelsAskedFor) {
  JigFixture jig;
  jig.configure();
  jig.start();
  proto::HostToJig command;
  command.mutable_stream_raw()->set_channel_mask(1U << 2 | 1U << 20);
  jig.send(command);
  jig.heard();
  jig.play(noise, 3);
  const auto raws = of_kind(jig.heard(), proto::JigToHost::kRaw);
  ASSERT_EQ(raws.size(), 3U);
  for (std::size_t k = 0; k < raws.size(); ++k) {
    EXPECT_EQ(raws[k].raw().first_scan(), 32 * k);
    std::array<std::array<std::int16_t, 32>, 2> codes{};
    ASSERT_TRUE(wire::decode_capture(std::as_bytes(std::span(raws[k].body())), 2, 32, codes).has_value());
    for (std::size_t s = 0; s < 32; ++s) {
      EXPECT_EQ(codes[0][s], noise(32 * k + s, 2));
      EXPECT_EQ(codes[1][s], noise(32 * k + s, 20));
    }
  }
}

TEST(TelemetryTest, KeepsRawAndCaptureFramesWithinOneKibibyte) {
  JigFixture jig;
  jig.configure();
  jig.start();
  proto::HostToJig command;
  command.mutable_stream_raw()->set_channel_mask(0xFFFFFF);
  jig.send(command);
  jig.edge({.line = 1, .high = true, .offset_256 = 0, .scan = 0, .pulse_ns = 0});
  jig.play(noise, 64);
  std::map<proto::JigToHost::ContentCase, std::size_t> longest;
  for (const auto& frame : jig.heard()) {
    std::size_t& bytes = longest[frame.message.content_case()];
    bytes = std::max(bytes, frame.frame_bytes);
  }
  EXPECT_LE(longest[proto::JigToHost::kRaw], 1024U);
  EXPECT_LE(longest[proto::JigToHost::kCapture], 1024U);
  EXPECT_GT(longest[proto::JigToHost::kCapture], 0U);
}

}  // namespace
}  // namespace firmware
