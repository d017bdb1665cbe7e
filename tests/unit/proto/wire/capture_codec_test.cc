// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/capture_codec.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "tests/unit/proto/wire/bytes.h"
#include "tests/unit/proto/wire/random_blocks.h"

namespace wire {
namespace {

using Codes = std::vector<std::int16_t>;
using Decoded = std::vector<std::array<std::int16_t, kCaptureScansMax>>;

Bytes packed(const std::vector<Codes>& channels) {
  Bytes body;
  for (const Codes& codes : channels) {
    Bytes column(kCaptureColumnBytesMax);
    column.resize(encode_capture_column(codes, column));
    body = body + column;
  }
  return body;
}

Codes ramp(int first, int step, std::size_t count = 32) {
  Codes codes;
  for (std::size_t k = 0; k < count; ++k)
    codes.push_back(static_cast<std::int16_t>(first + step * static_cast<int>(k)));
  return codes;
}

void expect_round_trip(const std::vector<Codes>& channels) {
  Decoded back(channels.size());
  const std::size_t scans = channels[0].size();
  ASSERT_TRUE(decode_capture(packed(channels), channels.size(), scans, back));
  for (std::size_t k = 0; k < channels.size(); ++k) {
    ASSERT_TRUE(std::ranges::equal(channels[k], std::span(back[k]).first(scans))) << "channel " << k;
  }
}

TEST(CaptureCodecTest, RoundTripsEveryMakeOfChannelAtEveryCount) {
  for (std::uint32_t seed = 1; seed <= 6; ++seed) {
    const Samples samples = random_samples(seed, 1600);
    for (std::size_t scans = 1; scans <= kCaptureScansMax; ++scans) {
      std::vector<Codes> channels;
      channels.reserve(kChannelCount);
      for (const auto& codes : samples.codes) channels.emplace_back(codes.begin() + 690, codes.begin() + 690 + scans);
      expect_round_trip(channels);
      if (HasFatalFailure()) return;
    }
  }
}

TEST(CaptureCodecTest, RoundTripsTheEndsOfTheRange) {
  Codes alternating;
  for (int k = 0; k < 32; ++k) alternating.push_back(k % 2 == 0 ? -32768 : 32767);
  Codes one_spike(32, -32768);
  one_spike[17] = 32767;
  expect_round_trip({alternating, one_spike, Codes(32, 32767), Codes(32, -32768), ramp(-32768, 2114)});
}

// By hand: a ramp of 100 codes a scan spans 3,100 codes = 12 bits as distances (48 B) but steps of 100, zig-zag 200,
// are 8 bits (32 B): the shorter way costs head, reference and 32 bytes.
TEST(CaptureCodecTest, TakesTheShorterOfDistancesAndSteps) {
  EXPECT_EQ(packed({ramp(-1000, 100)}).size(), 3U + 32U);
  // Still: no bits at all, only head and reference.
  EXPECT_EQ(packed({Codes(32, 1234)}).size(), 3U);
  // Noise of one bit: 4 bytes as distances; steps would take 2 bits.
  Codes toggling(32, 7);
  for (std::size_t k = 0; k < 32; k += 2) toggling[k] = 8;
  EXPECT_EQ(packed({toggling}).size(), 3U + 4U);
}

TEST(CaptureCodecTest, StaysInsideABufferOfAnySize) {
  const Codes codes = ramp(-1000, 100);
  const std::size_t whole = packed({codes}).size();
  for (std::size_t room = 0; room <= whole; ++room) {
    Bytes out(room + 4, std::byte{0x5C});
    EXPECT_EQ(encode_capture_column(codes, std::span(out).first(room)), room == whole ? whole : 0);
    EXPECT_EQ(std::count(out.end() - 4, out.end(), std::byte{0x5C}), 4);
  }
}

TEST(CaptureCodecTest, RefusesDamagedBodies) {
  const Samples samples = random_samples(2, 32);
  std::vector<Codes> channels(samples.codes.begin(), samples.codes.end());
  const Bytes body = packed(channels);
  Decoded back(24);
  for (std::size_t cut = 0; cut < body.size(); ++cut) {
    ASSERT_EQ(decode_capture(std::span(body).first(cut), 24, 32, back), std::unexpected(BodyError::kTruncated));
  }
  EXPECT_EQ(decode_capture(body + from_hex("00"), 24, 32, back), std::unexpected(BodyError::kTrailing));
  std::size_t refused = 0;
  for (std::size_t bit = 0; bit < body.size() * 8; ++bit) {
    Bytes damaged = body;
    damaged[bit / 8] ^= std::byte{1} << bit % 8;
    if (!decode_capture(damaged, 24, 32, back)) ++refused;  // whatever it says, a sanitizer sees what it touches
  }
  // A flipped bit of a value is another value; one of a head or an exception's index is noticed. Both occur.
  EXPECT_GT(refused, 0U);
  EXPECT_LT(refused, body.size() * 8);
}

TEST(CaptureCodecTest, RefusesImpossibleShapes) {
  const Bytes body = packed({Codes(32, 5)});
  Decoded back(24);
  const auto range = std::unexpected(BodyError::kRange);
  EXPECT_EQ(decode_capture(body, 0, 32, back), range);
  EXPECT_EQ(decode_capture(body, 25, 32, back), range);
  EXPECT_EQ(decode_capture(body, 1, 0, back), range);
  EXPECT_EQ(decode_capture(body, 1, 33, back), range);
  EXPECT_EQ(decode_capture(body, 1, 32, {}), range);
}

// Unmasked by hand: head, reference, values.
TEST(CaptureCodecTest, RefusesCodesBeyondTheRange) {
  const auto decode = [](const char* unmasked, std::size_t scans) {
    Bytes body = from_hex(unmasked);
    for (std::byte& b : body) b ^= std::byte{0xA5};
    Decoded back(1);
    return decode_capture(body, 1, scans, back);
  };
  const auto range = std::unexpected(BodyError::kRange);
  EXPECT_TRUE(decode("01 FE7F 02", 2)) << "32,766 and one more";
  EXPECT_EQ(decode("01 FF7F 02", 2), range) << "32,767 and one more";
  EXPECT_TRUE(decode("13 FE7F 08", 2)) << "steps 0, +1";
  EXPECT_EQ(decode("13 FF7F 08", 2), range) << "steps 0, +1";
  EXPECT_TRUE(decode("13 0180 04", 2)) << "steps 0, -1";
  EXPECT_EQ(decode("13 0080 04", 2), range) << "steps 0, -1";
}

}  // namespace
}  // namespace wire
