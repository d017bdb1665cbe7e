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
  std::uint32_t scans_cut = 0;
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
    capture.scans_cut = block.scans_cut();
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
  jig.play(noise, 60, 0);  // 2,048 scans of 24 channels at 2 bytes are 96 KiB: more than the 49 KiB there are
  EXPECT_EQ(jig.health().captures_cut, 1U);
  jig.talk();
  const auto captures = read(jig.heard(), noise);
  ASSERT_EQ(captures.size(), 1U);
  EXPECT_EQ(captures.at(1).remaining, 0U);
  EXPECT_GT(captures.at(1).channels_by_scan.size(), 700U);
  // What is missing is told to the scan; the last 32 there may lack the channels that found no room.
  const auto whole = std::ranges::count_if(captures.at(1).channels_by_scan,
                                           [](const auto& entry) { return entry.second == 0xFFFFFFU; });
  EXPECT_EQ(captures.at(1).scans_cut + static_cast<std::uint64_t>(whole), 2048U);
  const auto calm = [](std::uint64_t scan, std::size_t) { return static_cast<std::int16_t>(scan % 4); };
  jig.play(calm, 40);
  jig.edge(edge_at(4500));  // and the pages are free again
  jig.play(calm, 60);
  expect_whole(read(jig.heard(), calm).at(2), 4500 - 512, 4500 + 1536);
}

/// A load in play at the noise of currents and rails on the reference jig: 20 codes rms of a current's 0.05 A, one of a
/// rail's 0.6 mV, steps every 22 ms on the current channels.
std::int16_t in_play(std::uint64_t scan, std::size_t channel) {
  Random random(scan * 24 + channel);
  random.next();
  std::int32_t noise = 0;
  const bool current = channel >= 10 && channel % 2 == 0;
  const std::int32_t half = current ? 20 : 1;
  for (int k = 0; k < 3; ++k) noise += random.between(-half, half);
  const auto level = static_cast<std::int32_t>(current ? scan / 700 % 3 * 1500 : scan / 700 % 3 * 20);
  return static_cast<std::int16_t>(level + noise + 500 * static_cast<std::int32_t>(channel + 1));
}

void expect_contiguous(const Heard& capture, std::uint64_t first, std::uint64_t end, std::uint32_t mask) {
  EXPECT_EQ(capture.remaining, 0U);
  EXPECT_EQ(capture.scans_cut, 0U);
  ASSERT_EQ(capture.channels_by_scan.size(), end - first);
  EXPECT_EQ(capture.channels_by_scan.begin()->first, first);
  for (const auto& [scan, channels] : capture.channels_by_scan) ASSERT_EQ(channels, mask) << scan;
}

// On the board's own store; the line takes 80 bytes a block beside windows, as at 2 Mbaud.
TEST(CaptureStoreTest, HoldsSixtyMillisecondsOfAllChannels) {
  proto::Arm arm;
  arm.set_set(1);
  *arm.add_limits() = low_limit(3, 0);
  const auto signal = [](std::uint64_t scan, std::size_t channel) {
    return channel == 3 && scan / 10 == 200 ? std::int16_t{-7} : in_play(scan, channel);
  };
  JigFixture jig;
  jig.begin(arm, [](auto& configure) {
    configure.set_capture_before_scans(480);
    configure.set_capture_after_scans(1440);  // 60 ms in all
  });
  jig.play(signal, 130, 80);
  jig.talk();
  const auto captures = read(jig.heard(), signal);
  ASSERT_EQ(captures.size(), 1U);
  EXPECT_EQ(captures.at(1).cause, proto::CAPTURE_CAUSE_EXCURSION);
  expect_contiguous(captures.at(1), 2000 - 480, 2000 + 1440, 0xFFFFFF);
  EXPECT_EQ(jig.health().captures_cut, 0U);
}

TEST(CaptureStoreTest, HoldsAHundredAndEightyMillisecondsOfOneConverterByItsGroup) {
  proto::Arm arm;
  arm.set_set(1);
  *arm.add_limits() = low_limit(19, 0);
  *arm.add_limits() = low_limit(0, 0);
  const auto signal = [](std::uint64_t scan, std::size_t channel) {
    const bool dips = (channel == 19 && scan / 10 == 200) || (channel == 0 && scan / 10 == 900);
    return dips ? std::int16_t{-7} : in_play(scan, channel);
  };
  JigFixture jig;
  jig.begin(arm, [](auto& configure) {
    proto::CaptureGroup& group = *configure.add_capture_groups();
    group.set_trigger_mask(0xFF0000);
    group.set_channel_mask(0xFF0000);
    group.set_before_scans(480);
    group.set_after_scans(5280);  // 180 ms in all
  });
  jig.play(signal, 260, 80);
  jig.talk();
  jig.play(signal, 40);
  const auto captures = read(jig.heard(), signal);
  ASSERT_GE(captures.size(), 1U);
  expect_contiguous(captures.at(1), 2000 - 480, 2000 + 5280, 0xFF0000);
}

TEST(CaptureStoreTest, RefusesGroupsThatClaimAChannelTwiceOrMoreThanThereIs) {
  const auto field = [](std::uint32_t trigger, std::uint32_t channels, std::uint32_t before, std::uint32_t after) {
    JigFixture jig;
    proto::HostToJig command;
    proto::Configure& configure = *command.mutable_configure();
    configure.set_scans_per_window(32);
    configure.set_line_bytes_per_s(200000);
    proto::CaptureGroup& first = *configure.add_capture_groups();
    first.set_trigger_mask(0x1);
    first.set_channel_mask(0xFF);
    proto::CaptureGroup& second = *configure.add_capture_groups();
    second.set_trigger_mask(trigger);
    second.set_channel_mask(channels);
    second.set_before_scans(before);
    second.set_after_scans(after);
    jig.send(command);
    const proto::Acknowledgement answer = testing::last_answer(jig.heard());
    return answer.refusal() == proto::REFUSAL_NONE ? 0 : static_cast<int>(answer.field());
  };
  constexpr int kGroups = proto::Configure::kCaptureGroupsFieldNumber;
  EXPECT_EQ(field(0x2, 0xFF0000, 480, 5664), 0);
  EXPECT_EQ(field(0x3, 0xFF0000, 0, 0), kGroups) << "channel 0 is the first group's";
  EXPECT_EQ(field(0, 0xFF0000, 0, 0), kGroups);
  EXPECT_EQ(field(0x2, 0, 0, 0), kGroups);
  EXPECT_EQ(field(0x1000000, 0xFF, 0, 0), kGroups) << "no such channel";
  EXPECT_EQ(field(0x2, 0x10000FF, 0, 0), kGroups);
  EXPECT_EQ(field(0x2, 0xFF0000, 480, 5665), kGroups) << "193 ms of 8 channels";
  EXPECT_EQ(field(0x2, 0xFF0000, 513, 100), kGroups);
  EXPECT_EQ(field(0x2, 0xFF0000, 480, 0xFFFFFFFF), kGroups);
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
