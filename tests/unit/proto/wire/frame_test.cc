// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/frame.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <memory>

#include "tests/unit/proto/wire/bytes.h"

namespace wire {
namespace {

constexpr std::size_t kSmall = 300;

using Payloads = std::vector<Bytes>;

Bytes framed(const Bytes& payload) {
  Bytes out(cobs_bytes_max(payload.size() + kCrcBytes) + 1);
  out.resize(encode_frame(payload, out));
  return out;
}

std::expected<Bytes, FrameError> unframed(const Bytes& frame) {
  Bytes out(kFrameBytesMax);
  const auto payload = decode_frame(frame, out);
  if (!payload) return std::unexpected(payload.error());
  return Bytes(payload->begin(), payload->end());
}

Bytes without_delimiter(Bytes frame) {
  frame.pop_back();
  return frame;
}

class FrameReceiverTest : public testing::Test {
 protected:
  /// Payloads of the sound frames completed by `bytes`.
  std::vector<Bytes> feed(const Bytes& bytes) {
    std::vector<Bytes> payloads;
    for (const std::byte b : bytes) {
      if (receiver_.push(b)) payloads.emplace_back(receiver_.payload().begin(), receiver_.payload().end());
    }
    return payloads;
  }

  FrameReceiver<kSmall> receiver_;
  Bytes hello_ = from_hex("68 65 6C 6C 6F");
  Bytes zeros_ = Bytes(5);
  const Bytes delimiter_ = from_hex("00");
};

// "hello" has CRC-32C 0x9A71BB4C (calculated bit by bit from the definition, as in crc32c_test.cc).
TEST(FrameTest, IsStuffedPayloadChecksumAndDelimiter) {
  EXPECT_EQ(to_hex(framed(from_hex("68 65 6C 6C 6F"))), "0A 68 65 6C 6C 6F 4C BB 71 9A 00");
  EXPECT_EQ(to_hex(framed({})), "01 01 01 01 01 00") << "the checksum of nothing is four zeros";
}

TEST(FrameTest, RoundTripsEverySizeUpToTheMost) {
  std::mt19937 random(3);
  for (std::size_t bytes = 0; bytes <= kPayloadBytesMax; bytes += bytes < 600 ? 1 : 379) {
    const Bytes payload = random_bytes(random, bytes, 1U << random() % 10);
    const Bytes frame = framed(payload);
    ASSERT_EQ(std::ranges::count(frame, kDelimiter), 1);
    ASSERT_EQ(unframed(without_delimiter(frame)), payload);
  }
  const Bytes most(kPayloadBytesMax, std::byte{7});
  EXPECT_EQ(framed(most).size(), kFrameBytesMax);
  EXPECT_EQ(unframed(without_delimiter(framed(most))), most);
}

TEST(FrameTest, RefusesToWriteWhatDoesNotFit) {
  Bytes out(2 * kFrameBytesMax);
  EXPECT_EQ(encode_frame(Bytes(kPayloadBytesMax + 1), out), 0U);
  EXPECT_EQ(encode_frame(Bytes(10), std::span(out).first(cobs_bytes_max(14))), 0U);
  EXPECT_NE(encode_frame(Bytes(10), std::span(out).first(cobs_bytes_max(14) + 1)), 0U);
}

TEST(FrameTest, TakesAPayloadFromTheEndOfItsOwnBuffer) {
  std::mt19937 random(5);
  for (int round = 0; round < 300; ++round) {
    const Bytes payload = random_bytes(random, random() % 2000, 1U << random() % 12);
    Bytes buffer(cobs_bytes_max(payload.size() + kCrcBytes) + 1);
    std::ranges::copy(payload, buffer.end() - static_cast<std::ptrdiff_t>(payload.size()));
    const std::size_t bytes = encode_frame(std::span(buffer).last(payload.size()), buffer);
    ASSERT_EQ(to_hex(std::span(buffer).first(bytes)), to_hex(framed(payload)));
  }
}

TEST(FrameTest, EveryFlippedBitIsNoticed) {
  std::mt19937 random(8);
  const Bytes frame = without_delimiter(framed(random_bytes(random, 400, 20)));
  for (std::size_t bit = 0; bit < frame.size() * 8; ++bit) {
    Bytes damaged = frame;
    damaged[bit / 8] ^= std::byte{1} << bit % 8;
    ASSERT_EQ(unframed(damaged), std::unexpected(FrameError::kDamaged)) << "bit " << bit;
  }
}

TEST(FrameTest, EveryPrefixIsDamaged) {
  std::mt19937 random(8);
  const Bytes frame = without_delimiter(framed(random_bytes(random, 400, 20)));
  for (std::size_t cut = 0; cut < frame.size(); ++cut) {
    const Bytes part(frame.begin(), frame.begin() + static_cast<std::ptrdiff_t>(cut));
    ASSERT_EQ(unframed(part), std::unexpected(FrameError::kDamaged)) << cut;
  }
}

TEST(FrameTest, RefusesMoreThanTheMost) {
  EXPECT_EQ(unframed(Bytes(kFrameBytesMax, std::byte{1})), std::unexpected(FrameError::kOverlong));
  Bytes small_out(10);
  const Bytes frame = without_delimiter(framed(Bytes(20, std::byte{9})));
  EXPECT_EQ(decode_frame(frame, small_out).error(), FrameError::kOverlong);
}

TEST_F(FrameReceiverTest, IgnoresEverythingBeforeTheFirstDelimiter) {
  EXPECT_TRUE(feed(from_hex("31 32 33 FF") + framed(hello_)).empty()) << "joined in the middle of something";
  EXPECT_EQ(feed(framed(hello_)), Payloads{hello_});
  EXPECT_EQ(receiver_.damaged(), 0U);
  EXPECT_EQ(receiver_.overlong(), 0U);
}

TEST_F(FrameReceiverTest, IgnoresEmptyFrames) {
  EXPECT_EQ(feed(from_hex("00 00 00") + framed(hello_) + from_hex("00 00") + framed(zeros_)),
            (Payloads{hello_, zeros_}));
  EXPECT_EQ(receiver_.damaged(), 0U);
}

TEST_F(FrameReceiverTest, CountsAnOverlongFrameAndResumes) {
  feed(delimiter_);
  // One byte more than any frame of 300 payload bytes takes; then a whole 100 kB without a delimiter.
  EXPECT_TRUE(feed(Bytes(cobs_bytes_max(kSmall + kCrcBytes) + 1, std::byte{1}) + delimiter_).empty());
  EXPECT_EQ(receiver_.overlong(), 1U);
  EXPECT_TRUE(feed(Bytes(100000, std::byte{1}) + delimiter_).empty());
  EXPECT_EQ(receiver_.overlong(), 2U);
  EXPECT_EQ(feed(framed(hello_)), Payloads{hello_});
  EXPECT_EQ(receiver_.damaged(), 0U);
}

TEST_F(FrameReceiverTest, TakesTheLongestPayload) {
  const Bytes longest(kSmall, std::byte{0x42});
  EXPECT_EQ(feed(delimiter_ + framed(longest)), Payloads{longest});
}

TEST_F(FrameReceiverTest, CountsADamagedFrameAndResumes) {
  Bytes damaged = framed(hello_);
  damaged[3] ^= std::byte{0x10};
  EXPECT_EQ(feed(delimiter_ + damaged + framed(zeros_)), Payloads{zeros_});
  EXPECT_EQ(receiver_.damaged(), 1U);
}

TEST_F(FrameReceiverTest, ALostOrDoubledByteCostsOneFrame) {
  std::mt19937 random(6);
  const Bytes victim = framed(random_bytes(random, 120, 10));
  for (std::size_t at = 0; at + 1 < victim.size(); ++at) {
    Bytes lost = victim;
    lost.erase(lost.begin() + static_cast<std::ptrdiff_t>(at));
    Bytes doubled = victim;
    doubled.insert(doubled.begin() + static_cast<std::ptrdiff_t>(at), victim[at]);
    EXPECT_EQ(feed(delimiter_ + lost + framed(hello_)), Payloads{hello_}) << at;
    EXPECT_EQ(feed(delimiter_ + doubled + framed(hello_)), Payloads{hello_}) << at;
  }
  EXPECT_EQ(receiver_.damaged(), 2 * (victim.size() - 1));
}

TEST_F(FrameReceiverTest, ALostDelimiterCostsTwoFrames) {
  EXPECT_EQ(feed(delimiter_ + without_delimiter(framed(hello_)) + framed(zeros_) + framed(hello_)), Payloads{hello_});
  EXPECT_EQ(receiver_.damaged(), 1U);
}

TEST_F(FrameReceiverTest, TheLineDyingAfterAnyByteLosesThatFrameOnly) {
  const Bytes stream = delimiter_ + framed(hello_) + framed(zeros_) + framed(hello_);
  for (std::size_t cut = 0; cut <= stream.size(); ++cut) {
    FrameReceiver<kSmall> receiver;
    std::size_t sound = 0;
    for (std::size_t k = 0; k < cut; ++k) sound += receiver.push(stream[k]);
    // Frames are 11 bytes each ("hello", and five zeros whose stuffing takes the same room).
    EXPECT_EQ(sound, cut == 0 ? 0 : (cut - 1) / 11) << cut;
    EXPECT_EQ(receiver.damaged(), 0U);
  }
}

}  // namespace
}  // namespace wire
