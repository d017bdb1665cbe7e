// SPDX-License-Identifier: Apache-2.0
#include "host/detect/exposure_track.h"

#include <gtest/gtest.h>

#include "host/model/named_text.h"

namespace host::detect {
namespace {

model::Jig reference() {
  const auto text = model::named_text("jigs", "reference");
  EXPECT_TRUE(text.has_value());
  return *model::Jig::from_text(text->text, text->file);
}

/// 32 windows of 8 ms with 10 A on graphics-1's channel and none elsewhere; with `step_a`, the last of them carries so
/// much more.
Block block_at(const model::Jig& jig, std::uint64_t first, wire::DecodedWindows& windows, double step_a = 0) {
  Block block;
  block.windows = &windows;
  block.first = first;
  block.scans = 256;
  block.count = 32;
  for (const auto& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_CURRENT) continue;
    const double amps = channel.name == "current-graphics-1" ? 10 : 0;
    block.sum_8[channel.index] = static_cast<std::int64_t>(channel.code(amps) * 8 * block.count);
    auto& means = windows.channels[channel.index].mean_8;
    means.fill(static_cast<std::int32_t>(channel.code(amps) * 8));
    if (amps != 0) means[block.count - 1] = static_cast<std::int32_t>(channel.code(amps + step_a) * 8);
  }
  return block;
}

steadyrail::proto::Exposure seen(double hours, std::uint64_t from = 0) {
  const model::Jig jig = reference();
  ExposureTrack track(jig);
  wire::DecodedWindows windows{};
  for (std::uint64_t scan = from; scan < from + static_cast<std::uint64_t>(hours * 3600 * 32'000); scan += 8192) {
    track.add(block_at(jig, scan, windows));
  }
  steadyrail::proto::Exposure out;
  track.write(out);
  return out;
}

TEST(ExposureTrackTest, ReadsTheLoadInColumnsAcrossWhichBlocksLie) {
  const auto out = seen(0.1);
  EXPECT_EQ(out.column_s(), 0.25);
  ASSERT_EQ(out.load_w_size(), 1441);  // 360 s, and the rest of the last block
  for (int i = 0; i < 1440; ++i) {
    EXPECT_NEAR(out.load_w(i), 120, 0.5);  // 10 A at the nominal 12 V; codes are whole
    EXPECT_FLOAT_EQ(out.seen_share(i), 1);
  }
}

TEST(ExposureTrackTest, StaysBoundedByMergingColumnsInPairs) {
  const auto out = seen(12);
  // 65,536 columns of 0.25 s are 4.55 h, of 1 s 18.2 h.
  EXPECT_EQ(out.column_s(), 1);
  EXPECT_EQ(out.load_w_size(), 12 * 3600);
  EXPECT_NEAR(out.load_w(0), 120, 0.5);
  EXPECT_NEAR(out.load_w(12 * 3600 - 1), 120, 0.5);
  EXPECT_FLOAT_EQ(out.seen_share(777), 1);
}

TEST(ExposureTrackTest, TellsALivelyLoadFromAFlatOne) {
  const model::Jig jig = reference();
  ExposureTrack track(jig);
  wire::DecodedWindows windows{};
  track.add(block_at(jig, 0, windows));
  track.add(block_at(jig, 8192, windows, 5));  // its last window lies in the third column
  track.add(block_at(jig, 16'384, windows));
  steadyrail::proto::Exposure out;
  track.write(out);
  EXPECT_EQ(out.spread_w(0), 0);
  EXPECT_NEAR(out.spread_w(2), 60, 0.5) << "5 A at the nominal 12 V";
  EXPECT_EQ(out.spread_w(3), 0);
}

TEST(ExposureTrackTest, AScanFarAheadCostsNoMemory) {
  const auto out = seen(0.001, std::uint64_t{1} << 59);
  EXPECT_LE(out.load_w_size(), static_cast<int>(ExposureTrack::kColumnsMost));
}

TEST(ExposureTrackTest, KeepsWhatAnInnocentLoadDoesNotMake) {
  const model::Jig jig = reference();
  ExposureTrack track(jig);
  Found found;
  found.start = 64'000;
  found.channel = 16;
  found.kind = steadyrail::proto::EVENT_KIND_DROOP;
  track.event(found);
  found.kind = steadyrail::proto::EVENT_KIND_SAG;
  found.explained = true;
  track.event(found);
  found.explained = false;
  track.event(found);
  for (std::size_t i = 0; i < ExposureTrack::kEventsMost; ++i) track.event(found);
  steadyrail::proto::Exposure out;
  track.write(out);
  EXPECT_EQ(out.event_s_size(), static_cast<int>(ExposureTrack::kEventsMost));
  EXPECT_EQ(out.event_s(0), 2);
  EXPECT_EQ(out.event_words(0), "sag at graphics-1");
  EXPECT_TRUE(out.cut());
}

}  // namespace
}  // namespace host::detect
