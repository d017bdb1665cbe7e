// SPDX-License-Identifier: Apache-2.0
// What comes back from a body against the windows that went in: extremes and counts exactly, the mean to half an eighth
// code, the variance to its cell.
#include "proto/wire/window_codec.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <memory>

#include "tests/unit/proto/wire/bytes.h"
#include "tests/unit/proto/wire/random_blocks.h"

namespace wire {
namespace {

Bytes packed(const WindowBlock& block) {
  Bytes body(kWindowBodyBytesMax);
  body.resize(encode_windows(block, body));
  return body;
}

void expect_window(const WindowBlock& block, const DecodedWindows& back, std::size_t channel, std::size_t window) {
  const WindowColumns& in = block.channels[channel];
  const DecodedColumns& out = back.channels[channel];
  const double scans = block.scans_per_window;
  ASSERT_EQ(out.min[window], in.min[window]);
  ASSERT_EQ(out.max[window], in.max[window]);
  ASSERT_EQ(out.below[window], in.below[window]);
  ASSERT_EQ(out.above[window], in.above[window]);
  ASSERT_LE(std::abs(out.mean_8[window] - 8.0 * in.sum[window] / scans), 0.5);
  // The middle of a cell is within half a cell of what fell into it: 1/16 of its lower end at worst, or, below 1/8
  // code^2 where cells are 1/64 wide, 1/64.
  const double variance = static_cast<double>(in.m2[window]) / scans / scans;
  ASSERT_LE(std::abs(out.variance[window] - variance), std::max(variance / 16, 1.0 / 64)) << variance;
}

void expect_round_trip(const WindowBlock& block) {
  const Bytes body = packed(block);
  ASSERT_NE(body.size(), 0U);
  ASSERT_EQ(window_body_bytes(block), body.size());
  const auto back = std::make_unique<DecodedWindows>();
  ASSERT_TRUE(decode_windows(body, block.scans_per_window, block.window_count, *back));
  ASSERT_EQ(back->window_count, block.window_count);
  for (std::size_t channel = 0; channel < kChannelCount; ++channel) {
    for (std::size_t window = 0; window < block.window_count; ++window) {
      SCOPED_TRACE(testing::Message() << "channel " << channel << " window " << window);
      expect_window(block, *back, channel, window);
      if (testing::Test::HasFatalFailure()) return;
    }
  }
}

TEST(WindowCodecTest, RoundTripsWindowsOfEveryLengthAndMerge) {
  for (std::uint32_t seed = 1; seed <= 12; ++seed) {
    const std::uint32_t scans = 32U << seed % 4;
    WindowBlock block = windows_of(random_samples(seed, scans * kWindowsPerBlock), scans);
    do {
      SCOPED_TRACE(testing::Message() << "seed " << seed << ", " << block.window_count << " windows");
      expect_round_trip(block);
      if (HasFatalFailure()) return;
    } while (merge_pairs(block));
    EXPECT_EQ(block.window_count, 1U);
  }
}

TEST(WindowCodecTest, RoundTripsAnyCountOfWindows) {
  for (std::size_t count = 1; count <= kWindowsPerBlock; ++count) {
    SCOPED_TRACE(count);
    expect_round_trip(windows_of(random_samples(static_cast<std::uint32_t>(count), 64 * count), 64));
  }
}

// The worst block there is must fit: means from end to end, distances of 16 bits, counts of 0 and 256.
TEST(WindowCodecTest, TheWorstBlockFitsTheBound) {
  Samples samples = random_samples(3, 256 * kWindowsPerBlock);
  for (std::size_t channel = 0; channel < kChannelCount; ++channel) {
    for (std::size_t scan = 0; scan < samples.codes[channel].size(); ++scan) {
      const std::size_t window = scan / 256;
      const bool up = window % 3 == 0 ? (scan % 256 == 0) : (window % 3 == 1 ? scan % 256 != 0 : scan % 2 == 0);
      samples.codes[channel][scan] = up ? 32767 : -32768;
      if (window % 8 == 7) samples.codes[channel][scan] = window % 16 == 7 ? 32767 : -32768;
    }
    samples.low_limits[channel] = 0;
    samples.high_limits[channel] = -1;
  }
  const WindowBlock block = windows_of(samples, 256);
  expect_round_trip(block);
  EXPECT_GT(packed(block).size(), kWindowBodyBytesMax * 9 / 10);
}

TEST(WindowCodecTest, AnUpwardRoundedMeanKeepsBothDistances) {
  // 31 scans of 5 and one of 4 average 4.969: 40/8 after rounding, so the mean reads 5 while the minimum is 4.
  Samples samples = random_samples(1, 32);
  for (auto& codes : samples.codes) {
    std::ranges::fill(codes, 5);
    codes[3] = 4;
  }
  const WindowBlock block = windows_of(samples, 32);
  DecodedWindows back;
  ASSERT_TRUE(decode_windows(packed(block), 32, 1, back));
  EXPECT_EQ(back.channels[0].mean_8[0], 40);
  EXPECT_EQ(back.channels[0].min[0], 4);
  EXPECT_EQ(back.channels[0].max[0], 5);
}

TEST(WindowCodecTest, StepsPackWhatOneCallPacks) {
  const WindowBlock block = windows_of(random_samples(4, 32 * 32), 32);
  Bytes body(kWindowBodyBytesMax);
  WindowEncoder encoder(block, body);
  int steps = 0;
  while (encoder.step()) ++steps;
  EXPECT_EQ(steps, 24);
  EXPECT_FALSE(encoder.step());
  body.resize(encoder.bytes());
  EXPECT_EQ(body, packed(block));
}

TEST(WindowCodecTest, StaysInsideABufferOfAnySize) {
  const WindowBlock block = windows_of(random_samples(8, 32 * 32), 32);
  const Bytes body = packed(block);
  for (std::size_t room = 0; room <= body.size(); ++room) {
    Bytes out(room + 8, std::byte{0x5C});
    EXPECT_EQ(encode_windows(block, std::span(out).first(room)), room == body.size() ? room : 0);
    EXPECT_EQ(std::count(out.end() - 8, out.end(), std::byte{0x5C}), 8) << "wrote past " << room;
  }
}

class DamagedBodyTest : public testing::Test {
 protected:
  /// From a buffer of exactly its size, so that a sanitizer sees any byte read beyond.
  std::expected<void, BodyError> decode(const Bytes& body, std::uint32_t scans = 32, std::uint32_t windows = 32) {
    const auto exact = std::make_unique<std::byte[]>(body.size());
    std::ranges::copy(body, exact.get());
    return decode_windows({exact.get(), body.size()}, scans, windows, *back_);
  }

  void expect_codes_in_range(std::uint32_t scans) {
    for (const DecodedColumns& columns : back_->channels) {
      for (std::size_t k = 0; k < back_->window_count; ++k) {
        ASSERT_LE(columns.min[k], columns.mean_8[k] / 8.0);
        ASSERT_GE(columns.max[k], columns.mean_8[k] >> 3);
        ASSERT_LE(columns.below[k], scans);
        ASSERT_LE(columns.above[k], scans);
      }
    }
  }

  WindowBlock block_ = windows_of(random_samples(11, 32 * 32), 32);
  Bytes body_ = packed(block_);
  std::unique_ptr<DecodedWindows> back_ = std::make_unique<DecodedWindows>();
};

TEST_F(DamagedBodyTest, EveryPrefixIsTruncated) {
  for (std::size_t cut = 0; cut < body_.size(); ++cut) {
    const Bytes part(body_.begin(), body_.begin() + static_cast<std::ptrdiff_t>(cut));
    ASSERT_EQ(decode(part), std::unexpected(BodyError::kTruncated)) << cut;
    ASSERT_EQ(back_->window_count, 0U);
  }
}

TEST_F(DamagedBodyTest, BytesLeftOverAreRefused) {
  EXPECT_EQ(decode(body_ + from_hex("A5")), std::unexpected(BodyError::kTrailing));
  EXPECT_EQ(decode(Bytes(kWindowBodyBytesMax + 1)), std::unexpected(BodyError::kTrailing));
}

TEST_F(DamagedBodyTest, ImpossibleShapesAreRefused) {
  for (const auto& [scans, windows] :
       {std::pair{32U, 0U}, {32U, 33U}, {0U, 32U}, {16U, 32U}, {48U, 32U}, {512U, 32U}, {16384U, 1U}, {1U << 31, 2U}}) {
    EXPECT_EQ(decode(body_, scans, windows), std::unexpected(BodyError::kRange)) << scans << " x " << windows;
  }
}

TEST_F(DamagedBodyTest, EveryFlippedBitIsRefusedOrStaysInRange) {
  for (std::size_t bit = 0; bit < body_.size() * 8; ++bit) {
    Bytes damaged = body_;
    damaged[bit / 8] ^= std::byte{1} << bit % 8;
    if (decode(damaged)) expect_codes_in_range(32);
    if (HasFatalFailure()) return;
  }
}

TEST_F(DamagedBodyTest, RandomBytesNeverDecodeOutOfRange) {
  std::mt19937 random(99);
  for (int round = 0; round < 20000; ++round) {
    const Bytes noise = random_bytes(random, random() % 2000, 3);
    if (decode(noise, 32U << random() % 4, 1 + random() % 32)) expect_codes_in_range(256);
    if (HasFatalFailure()) return;
  }
}

// One still channel after another, written by hand: masks; then per channel mean (width 0, reference), low, high (width
// 0), variance (width 0, reference), unmasked.
class HandWrittenBodyTest : public DamagedBodyTest {
 protected:
  static Bytes masked(Bytes bytes) {
    for (std::byte& b : bytes) b ^= std::byte{0xA5};
    return bytes;
  }
  static Bytes with_first_channel(const std::string& first) {
    Bytes bytes = from_hex("000000 000000 " + first);
    for (int channel = 1; channel < 24; ++channel) bytes = bytes + from_hex(kStill);
    return masked(bytes);
  }

  static constexpr const char* kStill = "00 500000 00 00 00 0000";
};

TEST_F(HandWrittenBodyTest, StillChannelsTakeNineBytesEach) {
  ASSERT_TRUE(decode(with_first_channel(kStill)));
  EXPECT_EQ(back_->channels[23].mean_8[31], 0x50);
  EXPECT_EQ(back_->channels[23].min[31], 10);
  EXPECT_EQ(back_->channels[23].max[31], 10);
  EXPECT_EQ(back_->channels[23].variance[31], 0.0F);
}

TEST_F(HandWrittenBodyTest, ExceptionsAddTheBitsAboveTheWidth) {
  // Low: width 1, one exception; all values 1, that of window 5 is 1 + (3 << 1) = 7.
  ASSERT_TRUE(decode(with_first_channel("00 500000 21 FFFFFFFF 05 0300 00 00 0000")));
  EXPECT_EQ(back_->channels[0].min[4], 9);
  EXPECT_EQ(back_->channels[0].min[5], 3);
  EXPECT_EQ(back_->channels[0].max[5], 10);
}

TEST_F(HandWrittenBodyTest, RefusesWidthsAndExceptionsNoEncoderWrites) {
  const auto refused = [&](const char* first) { return decode(with_first_channel(first)); };
  const auto width = std::unexpected(BodyError::kWidth);
  EXPECT_EQ(refused("1A 500000 00 00 00 0000"), width) << "26 bits";
  EXPECT_EQ(refused("00 500000 20 20 0300 00 00 0000"), width) << "exception at window 32";
  EXPECT_EQ(refused("00 500000 40 05 0300 05 0300 00 00 0000"), width) << "the same window twice";
  EXPECT_EQ(refused("00 500000 40 05 0300 04 0300 00 00 0000"), width) << "windows out of order";
  EXPECT_EQ(refused("00 500000 20 05 0000 00 00 0000"), width) << "an exception that adds nothing";
}

TEST_F(HandWrittenBodyTest, RefusesValuesBeyondTheCodes) {
  const auto range = std::unexpected(BodyError::kRange);
  EXPECT_TRUE(decode(with_first_channel("00 0000FC 00 00 00 0000"))) << "mean -32,768";
  EXPECT_TRUE(decode(with_first_channel("00 F8FF03 00 00 00 0000"))) << "mean 32,767";
  EXPECT_EQ(decode(with_first_channel("00 FFFFFB 00 00 00 0000")), range) << "mean below -32,768";
  EXPECT_EQ(decode(with_first_channel("00 F9FF03 00 00 00 0000")), range) << "mean above 32,767";
  EXPECT_EQ(decode(with_first_channel("00 0000FC 20 00 0100 00 00 0000")), range) << "minimum below -32,768";
  EXPECT_EQ(decode(with_first_channel("00 F8FF03 00 20 00 0100 00 0000")), range) << "maximum above 32,767";
  EXPECT_TRUE(decode(with_first_channel("00 500000 00 00 00 0F01"))) << "cell 271";
  EXPECT_EQ(decode(with_first_channel("00 500000 00 00 00 1001")), range) << "cell 272";
}

TEST_F(HandWrittenBodyTest, RefusesCountsAboveTheScans) {
  const auto counted = [&](const char* column) {
    Bytes bytes = from_hex(std::string("010000 000000 ") + kStill + column);
    for (int channel = 1; channel < 24; ++channel) bytes = bytes + from_hex(kStill);
    return decode(masked(bytes));
  };
  ASSERT_TRUE(counted("20 07 2000"));
  EXPECT_EQ(back_->channels[0].below[7], 32);
  EXPECT_EQ(back_->channels[0].below[6], 0);
  EXPECT_EQ(counted("20 07 2100"), std::unexpected(BodyError::kRange));
}

}  // namespace
}  // namespace wire
