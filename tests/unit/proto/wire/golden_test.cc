// SPDX-License-Identifier: Apache-2.0
// Both directions against proto/golden: what we write is those bytes, what we read from them is what is given.
#include <google/protobuf/text_format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <memory>

#include "link.pb.h"
#include "proto/wire/capture_codec.h"
#include "proto/wire/cobs.h"
#include "proto/wire/crc32c.h"
#include "proto/wire/frame.h"
#include "proto/wire/variance_cell.h"
#include "proto/wire/window_codec.h"
#include "recording.pb.h"
#include "tests/unit/proto/wire/golden.h"

namespace wire {
namespace {

namespace proto = steadyrail::proto;
using google::protobuf::TextFormat;

Bytes stuffed(const Bytes& payload) {
  Bytes out(cobs_bytes_max(payload.size()));
  out.resize(cobs_encode(payload, out));
  return out;
}

Bytes unstuffed(const Bytes& frame) {
  Bytes out(frame.size());
  const auto bytes = cobs_decode(frame, out);
  EXPECT_TRUE(bytes) << to_hex(frame);
  out.resize(bytes.value_or(0));
  return out;
}

TEST(GoldenTest, CobsBothWays) {
  const auto lines = read_golden("cobs.hex");
  ASSERT_FALSE(lines.empty());
  for (const GoldenLine& line : lines) {
    EXPECT_EQ(to_hex(stuffed(from_hex(line.given))), to_hex(line.hex)) << line.name;
    EXPECT_EQ(to_hex(unstuffed(line.hex)), to_hex(from_hex(line.given))) << line.name;
  }
}

TEST(GoldenTest, CobsOfTheOtherReadingIsAccepted) {
  const auto lines = read_golden("cobs_accepted.hex");
  ASSERT_FALSE(lines.empty());
  for (const GoldenLine& line : lines) {
    EXPECT_EQ(to_hex(unstuffed(line.hex)), to_hex(from_hex(line.given))) << line.name;
    EXPECT_NE(to_hex(stuffed(from_hex(line.given))), to_hex(line.hex)) << line.name;
  }
}

TEST(GoldenTest, ChecksumsInTheOrderOfTheLine) {
  const auto lines = read_golden("crc32c.hex");
  ASSERT_FALSE(lines.empty());
  for (const GoldenLine& line : lines) {
    const std::uint32_t check = crc32c(from_hex(line.given));
    Bytes bytes;
    for (int k = 0; k < 4; ++k) bytes.push_back(static_cast<std::byte>(check >> (8 * k)));
    EXPECT_EQ(to_hex(bytes), to_hex(line.hex)) << line.name;
  }
}

Bytes window_body(const WindowBlock& block) {
  Bytes body(kWindowBodyBytesMax);
  body.resize(encode_windows(block, body));
  return body;
}

void expect_windows(const GoldenLine& line) {
  const std::uint32_t scans = golden_number(line.given, "scans_per_window");
  const std::uint32_t count = golden_number(line.given, "window_count");
  const WindowBlock block = golden_windows(golden_word(line.given, "recipe"), scans, count);
  EXPECT_EQ(to_hex(window_body(block)), to_hex(line.hex)) << line.name;
  const auto back = std::make_unique<DecodedWindows>();
  ASSERT_TRUE(decode_windows(line.hex, scans, count, *back)) << line.name;
  for (std::size_t channel = 0; channel < kChannelCount; ++channel) {
    const WindowColumns& in = block.channels[channel];
    const DecodedColumns& out = back->channels[channel];
    for (std::size_t k = 0; k < count; ++k) {
      ASSERT_EQ(out.min[k], in.min[k]) << line.name;
      ASSERT_EQ(out.max[k], in.max[k]) << line.name;
      ASSERT_EQ(out.mean_8[k], std::floor(8.0 * in.sum[k] / scans + 0.5)) << line.name;
      const auto variance_64 = static_cast<std::uint64_t>(64.0 * static_cast<double>(in.m2[k]) / scans / scans);
      ASSERT_EQ(out.variance[k], variance_of_cell(variance_cell(variance_64))) << line.name;
      ASSERT_EQ(out.below[k], in.below[k]) << line.name;
      ASSERT_EQ(out.above[k], in.above[k]) << line.name;
    }
  }
}

std::vector<std::vector<std::int16_t>> capture_codes(const std::string& given) {
  const std::uint32_t first = golden_number(given, "first_scan");
  const std::uint32_t count = golden_number(given, "scan_count");
  const std::uint32_t mask = golden_number(given, "channel_mask");
  const GoldenCodes codes = golden_codes(golden_word(given, "recipe"), first + count);
  std::vector<std::vector<std::int16_t>> channels;
  for (std::size_t channel = 0; channel < kChannelCount; ++channel) {
    if ((mask >> channel & 1) == 0) continue;
    channels.emplace_back();
    for (std::uint32_t scan = first; scan < first + count; ++scan) channels.back().push_back(codes[scan][channel]);
  }
  return channels;
}

void expect_capture(const GoldenLine& line) {
  const auto channels = capture_codes(line.given);
  ASSERT_FALSE(channels.empty());
  Bytes body;
  for (const auto& codes : channels) {
    Bytes column(kCaptureColumnBytesMax);
    column.resize(encode_capture_column(codes, column));
    body = body + column;
  }
  EXPECT_EQ(to_hex(body), to_hex(line.hex)) << line.name;
  std::vector<std::array<std::int16_t, kCaptureScansMax>> back(channels.size());
  ASSERT_TRUE(decode_capture(line.hex, channels.size(), channels[0].size(), back)) << line.name;
  for (std::size_t k = 0; k < channels.size(); ++k) {
    EXPECT_TRUE(std::ranges::equal(channels[k], std::span(back[k]).first(channels[k].size()))) << line.name;
  }
}

TEST(GoldenTest, BodiesBothWays) {
  const auto lines = read_golden("bodies.hex");
  ASSERT_FALSE(lines.empty());
  for (const GoldenLine& line : lines) {
    if (line.given.starts_with("windows ")) {
      expect_windows(line);
    } else {
      expect_capture(line);
    }
  }
}

TEST(GoldenTest, MergedBodyIsTheOneOfThePairsMerged) {
  WindowBlock block = golden_windows("busy", 32, 32);
  for (int merge = 0; merge < 3; ++merge) ASSERT_TRUE(merge_pairs(block));
  EXPECT_EQ(to_hex(window_body(block)), to_hex(find_golden("bodies.hex", "windows-merged").hex));
}

Bytes framed(const std::string& payload) {
  Bytes out(kFrameBytesMax);
  out.resize(encode_frame(std::as_bytes(std::span(payload)), out));
  return out;
}

template <typename Message>
void expect_frames(const std::string& file) {
  const auto lines = read_golden(file);
  ASSERT_FALSE(lines.empty());
  for (const GoldenLine& line : lines) {
    Message message;
    ASSERT_TRUE(TextFormat::ParseFromString(line.given, &message)) << line.name;
    if constexpr (std::is_same_v<Message, proto::JigToHost>) {
      const Bytes body = find_golden("bodies.hex", line.name).hex;
      message.set_body(body.data(), body.size());
    }
    EXPECT_EQ(to_hex(framed(message.SerializeAsString())), to_hex(line.hex)) << line.name;

    Bytes out(line.hex.size());
    const auto payload = decode_frame(std::span(line.hex).first(line.hex.size() - 1), out);
    ASSERT_TRUE(payload) << line.name;
    Message back;
    ASSERT_TRUE(back.ParseFromArray(payload->data(), static_cast<int>(payload->size()))) << line.name;
    EXPECT_EQ(back.DebugString(), message.DebugString()) << line.name;
  }
}

TEST(GoldenTest, FramesOfTheJigBothWays) {
  expect_frames<proto::JigToHost>("frames.hex");
}

TEST(GoldenTest, CommandsOfTheHostBothWays) {
  expect_frames<proto::HostToJig>("commands.hex");
}

TEST(GoldenTest, NotesOfARecordingBothWays) {
  expect_frames<proto::RecordedNote>("notes.hex");
  for (const GoldenLine& line : read_golden("notes.hex")) {
    Bytes out(line.hex.size());
    const auto payload = decode_frame(std::span(line.hex).first(line.hex.size() - 1), out);
    ASSERT_TRUE(payload);
    EXPECT_EQ((*payload)[0], std::byte{0x6A}) << "a note is told from a frame of the jig by its first byte";
  }
}

}  // namespace
}  // namespace wire
