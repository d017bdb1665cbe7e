// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/envelope.h"

#include <google/protobuf/text_format.h>
#include <gtest/gtest.h>
#include <pb_decode.h>

#include <fstream>
#include <map>
#include <sstream>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

using testing::JigFixture;
using testing::of_kind;
namespace proto = steadyrail::proto;

/// Lines of a golden file: name | meaning | given | hex.
struct GoldenLine {
  std::string given;
  std::vector<std::byte> bytes;
};

std::vector<std::byte> from_hex(const std::string& text) {
  std::vector<std::byte> bytes;
  std::istringstream stream(text);
  for (int value = 0; stream >> std::hex >> value;) bytes.push_back(static_cast<std::byte>(value));
  return bytes;
}

std::map<std::string, GoldenLine> golden(const std::string& file) {
  std::map<std::string, GoldenLine> lines;
  std::ifstream stream(STEADYRAIL_SOURCE_DIR "/proto/golden/" + file);
  for (std::string line; std::getline(stream, line);) {
    if (line.empty() || line[0] == '#') continue;
    const auto first = line.find(" | ");
    const auto second = line.find(" | ", first + 3);
    const auto third = line.find(" | ", second + 3);
    lines[line.substr(0, first)] = {line.substr(second + 3, third - second - 3), from_hex(line.substr(third + 3))};
  }
  return lines;
}

/// The frame as the telemetry builds it: nanopb for the fields, body behind.
std::vector<std::byte> chip_frame(const proto::JigToHost& message, const std::vector<std::byte>& body) {
  const std::string fields = message.SerializeAsString();
  steadyrail_proto_JigToHost chip = steadyrail_proto_JigToHost_init_zero;
  pb_istream_t stream = pb_istream_from_buffer(reinterpret_cast<const pb_byte_t*>(fields.data()), fields.size());
  EXPECT_TRUE(pb_decode(&stream, steadyrail_proto_JigToHost_fields, &chip));
  std::vector<std::byte> payload(wire::kPayloadBytesMax);
  std::size_t bytes = encode_prefix(chip.sequence, chip.boot, payload);
  bytes += encode_content(chip, std::span(payload).subspan(bytes));
  if (!body.empty()) {
    std::copy(body.begin(), body.end(), payload.begin() + static_cast<std::ptrdiff_t>(bytes + kBodyHeadBytes));
    bytes = close_body(payload, bytes, body.size());
  }
  std::vector<std::byte> frame(wire::kFrameBytesMax);
  frame.resize(wire::encode_frame(std::span(payload).first(bytes), frame));
  return frame;
}

TEST(EnvelopeTest, WritesTheGoldenFrames) {
  const auto frames = golden("frames.hex");
  const auto bodies = golden("bodies.hex");
  ASSERT_GT(frames.size(), 15U);
  for (const auto& [name, line] : frames) {
    proto::JigToHost message;
    ASSERT_TRUE(google::protobuf::TextFormat::ParseFromString(line.given, &message)) << name;
    const auto body = bodies.find(name);
    EXPECT_EQ(chip_frame(message, body == bodies.end() ? std::vector<std::byte>{} : body->second.bytes), line.bytes)
        << name;
  }
}

/// Codes of the recipes of proto/golden/README.md.
std::vector<std::array<std::int16_t, 24>> recipe(bool busy, std::size_t scans) {
  std::vector<std::array<std::int16_t, 24>> codes(scans);
  std::uint32_t x = 1;
  for (std::size_t s = 0; s < scans; ++s) {
    for (std::int32_t c = 0; c < 24; ++c) {
      x = 1664525 * x + 1013904223;
      const auto r = static_cast<std::int32_t>(x / 65536);
      std::int32_t code = 1000 * c - 12000 + r % 4;
      if (busy) {
        code = 1000 * c - 12000 + 40 * (c % 5) * static_cast<std::int32_t>(s / 300 % 3) + r % 64;
        if (c == 16 && r % 200 == 0) code -= 9000;
        if (c == 22) code = r - 32768;
        if (c == 23) code = s / 16 % 2 == 0 ? 32767 : -32768;
      }
      codes[s][static_cast<std::size_t>(c)] = static_cast<std::int16_t>(code);
    }
  }
  return codes;
}

/// What the jig says of 1,024 such scans that begin at `first_scan`, less sequence.
proto::JigToHost windows_of_recipe(bool busy, std::uint64_t first_scan, const proto::Arm& arm) {
  const auto codes = recipe(busy, 1024);
  JigFixture jig;
  jig.lose(first_scan - 32);
  jig.play([](std::uint64_t, std::size_t) { return std::int16_t{0}; }, 1);
  jig.begin(arm, [](auto& configure) { configure.set_line_bytes_per_s(2000000); });
  jig.play([&](std::uint64_t scan, std::size_t channel) { return codes[scan - first_scan][channel]; }, 32);
  auto windows = of_kind(jig.heard(), proto::JigToHost::kWindows);
  EXPECT_EQ(windows.size(), 1U);
  windows.at(0).clear_sequence();
  return windows[0];
}

proto::JigToHost golden_message(const std::string& name) {
  proto::JigToHost message;
  EXPECT_TRUE(google::protobuf::TextFormat::ParseFromString(golden("frames.hex")[name].given, &message));
  const auto body = golden("bodies.hex")[name].bytes;
  message.set_body(body.data(), body.size());
  message.clear_sequence();
  return message;
}

TEST(EnvelopeTest, SaysOfTheGoldenScansWhatTheGoldenFramesSay) {
  EXPECT_EQ(windows_of_recipe(false, 32768, {}).SerializeAsString(),
            golden_message("windows-quiet").SerializeAsString());

  proto::Arm arm;
  arm.set_set(1);
  *arm.add_limits() = testing::low_limit(16, 2000);
  proto::ArmedLimit high = testing::low_limit(3, -8940);
  high.set_side(proto::SIDE_HIGH);
  high.set_release_code(-8941);
  *arm.add_limits() = high;
  proto::JigToHost busy = windows_of_recipe(true, std::uint64_t{1} << 32, arm);
  // Within these 1,024 scans channel 22 reaches neither end (its r is never 0 nor 65,535), only channel 23 does; the
  // golden text names both, as a frame of a longer stretch would.
  EXPECT_EQ(busy.windows().clipped_mask(), 1U << 23);
  busy.mutable_windows()->set_clipped_mask(1U << 22 | 1U << 23);
  EXPECT_EQ(busy.SerializeAsString(), golden_message("windows-busy").SerializeAsString());
}

}  // namespace
}  // namespace firmware
