// SPDX-License-Identifier: Apache-2.0
// Decimating captures, against least and greatest codes computed here from the signal.
#include "firmware/core/ramp_recorder.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <map>

#include "proto/wire/capture_codec.h"
#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

namespace proto = steadyrail::proto;
using testing::JigFixture;
using testing::of_kind;

constexpr std::uint64_t kUpScan = 4000;
constexpr std::uint32_t kChannels = 0b1000'0000'0000'0000'0111'1111;  // 8 of them

/// Rails that rise from scan 4,000 on, channel by channel a little later and slower, with noise.
std::int16_t rising(std::uint64_t scan, std::size_t channel) {
  const std::uint64_t up = scan < kUpScan ? 0 : scan - kUpScan;
  testing::Random random(scan * 24 + channel);
  random.next();
  const auto level = static_cast<std::int32_t>(std::min<std::uint64_t>(up * 40 / (channel % 7 + 1), 20000));
  return static_cast<std::int16_t>(level - 30000 + random.between(-4, 4));
}

struct Heard {
  std::map<std::uint64_t, std::uint32_t> channels_by_point;  // first scan of a point: channels seen
  std::uint64_t trigger_scan = 0;
  std::uint32_t points_left = 0;
  std::size_t bytes = 0;
};

/// Reads every ramp frame; expects each point to be what the signal holds.
std::map<std::uint32_t, Heard> read(const std::vector<testing::HeardFrame>& frames, const testing::Signal& signal) {
  std::map<std::uint32_t, Heard> ramps;
  for (const testing::HeardFrame& frame : frames) {
    if (!frame.message.has_ramp()) continue;
    const proto::RampBlock& block = frame.message.ramp();
    EXPECT_LE(frame.frame_bytes, 1024U);
    EXPECT_EQ(block.scans_per_point(), 8U);
    Heard& ramp = ramps[block.ramp()];
    ramp.trigger_scan = block.trigger_scan();
    ramp.points_left = block.points_left();
    ramp.bytes += frame.frame_bytes;
    std::array<std::array<std::int16_t, 32>, 24> columns{};
    const auto channels = static_cast<std::size_t>(std::popcount(block.channel_mask()));
    EXPECT_TRUE(wire::decode_capture(std::as_bytes(std::span(frame.message.body())), 2 * channels, block.point_count(),
                                     columns));
    std::size_t column = 0;
    for (std::size_t c = 0; c < 24; ++c) {
      if ((block.channel_mask() >> c & 1) == 0) continue;
      for (std::uint32_t p = 0; p < block.point_count(); ++p) {
        const std::uint64_t first = block.first_scan() + p * 8;
        std::int16_t low = 32767;
        std::int16_t high = -32768;
        for (std::uint64_t scan = first; scan < first + 8; ++scan) {
          low = std::min(low, signal(scan, c));
          high = std::max(high, signal(scan, c));
        }
        EXPECT_EQ(columns[column][p], low);
        EXPECT_EQ(columns[column + 1][p], high);
        ramp.channels_by_point[first] |= std::uint32_t{1} << c;
      }
      column += 2;
    }
  }
  return ramps;
}

void begin(JigFixture& jig, std::uint32_t ms = 0) {
  proto::Arm arm;
  arm.set_set(1);
  proto::Threshold& threshold = *arm.add_thresholds();
  threshold.set_channel(0);
  threshold.set_code(-28000);
  threshold.set_starts_ramp(true);
  jig.begin(arm, [&](proto::Configure& configure) {
    configure.set_ramp_channel_mask(kChannels);
    configure.set_ramp_ms(ms);
  });
}

/// 1.2 s of eight channels on a line of 200 kB/s that carries windows, events and captures meanwhile: nothing missing.
TEST(RampRecorderTest, SendsTwelveHundredMillisecondsOfEightChannelsWithoutAHole) {
  JigFixture jig;
  begin(jig);
  jig.play(rising, 1600, 200);
  jig.play(rising, 10);
  const auto ramps = read(jig.heard(), rising);
  ASSERT_EQ(ramps.size(), 1U);
  const auto& [number, ramp] = *ramps.begin();
  EXPECT_EQ(number, 1U);
  EXPECT_EQ(ramp.points_left, 0U);
  // Scan 4,000 reads -30,000 and every scan adds 40 to channel 0: it passes -28,000 about 50 scans later.
  EXPECT_NEAR(static_cast<double>(ramp.trigger_scan), kUpScan + 50, 2);
  ASSERT_EQ(ramp.channels_by_point.size(), 4800U) << "4,000 points a second";
  EXPECT_EQ(ramp.channels_by_point.begin()->first, (ramp.trigger_scan - 256) / 8 * 8) << "8 ms before";
  std::uint64_t expected = ramp.channels_by_point.begin()->first;
  for (const auto& [first, channels] : ramp.channels_by_point) {
    EXPECT_EQ(first, expected);
    EXPECT_EQ(channels, kChannels);
    expected += 8;
  }
  EXPECT_EQ(jig.health().raw_dropped, 0U);
  std::printf("1.2 s of 8 channels, least and greatest of every 8 scans: %zu bytes on the line, 0 in memory\n",
              ramp.bytes);
}

TEST(RampRecorderTest, TakesOneAtATimeAndANewOneAfterwards) {
  JigFixture jig;
  begin(jig, 20);
  const auto pulses = [](std::uint64_t scan, std::size_t) {
    return static_cast<std::int16_t>(scan >= 1000 && scan % 400 < 200 ? 0 : -30000);
  };
  jig.play(pulses, 100);
  jig.stop();  // the last one has been taken, and packing takes up to 8 ms more
  const auto ramps = read(jig.heard(), pulses);
  // By hand: 20 ms are 640 scans, 256 of them before the trigger. The rise at 1200 has its ramp from 944 to 1584, the
  // next one at 1600 from 1344 to 1984, and so on; the last, at 2800, to 3184.
  ASSERT_EQ(ramps.size(), 5U);
  EXPECT_EQ(ramps.at(1).trigger_scan, 1200U);
  EXPECT_EQ(ramps.at(5).trigger_scan, 2800U);
  EXPECT_EQ(ramps.at(1).channels_by_point.size(), 80U);
  for (const auto& [number, ramp] : ramps) EXPECT_EQ(ramp.points_left, 0U) << number;
}

TEST(RampRecorderTest, EndsAtAGapAndAtStopWithWhatThereIs) {
  for (const bool gap : {true, false}) {
    JigFixture jig;
    begin(jig);
    jig.play(rising, 160);
    if (gap) {
      jig.lose(64);
      jig.play(rising, 1);
    } else {
      jig.stop();
    }
    const auto ramps = read(jig.heard(), rising);
    ASSERT_EQ(ramps.size(), 1U);
    EXPECT_GT(ramps.at(1).points_left, 0U) << "it says that it was cut";
    EXPECT_LE(ramps.at(1).channels_by_point.rbegin()->first + 8, 160U * 32);
    EXPECT_GT(ramps.at(1).channels_by_point.rbegin()->first + 16, 160U * 32) << "to the last whole point";
  }
}

TEST(RampRecorderTest, NamesTheFieldThatIsOutOfRange) {
  const auto field = [](const std::function<void(proto::Configure&)>& change) {
    JigFixture jig;
    proto::HostToJig command;
    command.mutable_configure()->set_scans_per_window(32);
    command.mutable_configure()->set_line_bytes_per_s(200000);
    change(*command.mutable_configure());
    jig.send(command);
    return testing::last_answer(jig.heard()).field();
  };
  EXPECT_EQ(field([](auto& configure) { configure.set_low_end_mask(1U << 24); }), 8U);
  EXPECT_EQ(field([](auto& configure) { configure.set_ramp_channel_mask(1U << 24); }), 9U);
  EXPECT_EQ(field([](auto& configure) { configure.set_ramp_channel_mask(0x1FF); }), 9U) << "nine channels";
  EXPECT_EQ(field([](auto& configure) { configure.set_ramp_ms(10'001); }), 10U);
  EXPECT_EQ(field([](auto& configure) { configure.set_ramp_channel_mask(0xFF); }), 0U);
}

}  // namespace
}  // namespace firmware
