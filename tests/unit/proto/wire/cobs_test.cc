// SPDX-License-Identifier: Apache-2.0
// Expected bytes follow the algorithm of Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions
// on Networking 7(2), 1999, worked by hand: each run of up to 254 non-zero bytes is led by its length + 1.
#include "proto/wire/cobs.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "tests/unit/proto/wire/bytes.h"

namespace wire {
namespace {

Bytes encoded(const Bytes& payload) {
  Bytes out(cobs_bytes_max(payload.size()), std::byte{0xEE});
  out.resize(cobs_encode(payload, out));
  return out;
}

std::expected<Bytes, CobsError> decoded(const Bytes& frame) {
  Bytes out(frame.size());
  const auto bytes = cobs_decode(frame, out);
  if (!bytes) return std::unexpected(bytes.error());
  out.resize(*bytes);
  return out;
}

const Bytes kFull = from_hex("FF");
const Bytes kZero = from_hex("00");

struct Vector {
  Bytes payload;
  Bytes frame;
};

std::vector<Vector> vectors() {
  return {
      {{}, from_hex("01")},
      {kZero, from_hex("01 01")},
      {from_hex("00 00"), from_hex("01 01 01")},
      {from_hex("00 11 00"), from_hex("01 02 11 01")},
      {from_hex("11 22 00 33"), from_hex("03 11 22 02 33")},
      {from_hex("11 22 33 44"), from_hex("05 11 22 33 44")},
      {from_hex("11 00 00 00"), from_hex("02 11 01 01 01")},
      {counting(1, 253), from_hex("FE") + counting(1, 253)},
      {counting(1, 254), kFull + counting(1, 254)},
      {counting(1, 255), kFull + counting(1, 254) + from_hex("02 FF")},
      {counting(1, 255) + from_hex("07"), kFull + counting(1, 254) + from_hex("03 FF 07")},
      {kZero + counting(1, 254), from_hex("01") + kFull + counting(1, 254)},
      {counting(2, 255) + kZero, kFull + counting(2, 255) + from_hex("01 01")},
      {counting(3, 255) + kZero + from_hex("01"), from_hex("FE") + counting(3, 255) + from_hex("02 01")},
  };
}

TEST(CobsTest, EncodesAndDecodesWorkedVectors) {
  for (const Vector& vector : vectors()) {
    EXPECT_EQ(to_hex(encoded(vector.payload)), to_hex(vector.frame));
    const auto back = decoded(vector.frame);
    ASSERT_TRUE(back) << to_hex(vector.frame);
    EXPECT_EQ(to_hex(*back), to_hex(vector.payload));
  }
}

// The listing of 1999 closes a full last run with an empty one: a final 01. Both readings give the same payload.
TEST(CobsTest, DecodesTheLongerReadingOfAFullLastRun) {
  EXPECT_EQ(decoded(kFull + counting(1, 254) + from_hex("01")), counting(1, 254));
  EXPECT_EQ(decoded(kFull + counting(1, 254)), counting(1, 254));
  const Bytes twice = counting(1, 254) + counting(1, 254);
  EXPECT_EQ(decoded(kFull + counting(1, 254) + kFull + counting(1, 254) + from_hex("01")), twice);
}

TEST(CobsTest, RoundTripsAnyBytesWithinTheBoundAndWithoutZeros) {
  std::mt19937 random(20240611);
  for (int round = 0; round < 2000; ++round) {
    const unsigned zero_every = 1U << random() % 12;
    const Bytes payload = random_bytes(random, random() % 1200, zero_every);
    const Bytes frame = encoded(payload);
    ASSERT_LE(frame.size(), cobs_bytes_max(payload.size()));
    ASSERT_EQ(std::ranges::find(frame, std::byte{0}), frame.end());
    ASSERT_EQ(decoded(frame), payload) << "round " << round;
  }
}

TEST(CobsTest, NeedsNoMoreThanTheDecodedBytes) {
  const Bytes payload = counting(1, 255) + kZero + counting(0, 255);
  const Bytes frame = encoded(payload);
  for (std::size_t room = 0; room < payload.size(); ++room) {
    Bytes out(room);
    EXPECT_EQ(cobs_decode(frame, out), std::unexpected(CobsError::kNoRoom)) << room;
  }
  Bytes out(payload.size());
  EXPECT_EQ(cobs_decode(frame, out), payload.size());
}

TEST(CobsTest, DecodesInPlace) {
  const Bytes payload = counting(1, 255) + kZero + counting(0, 255);
  Bytes buffer = encoded(payload);
  const auto bytes = cobs_decode(buffer, buffer);
  ASSERT_TRUE(bytes);
  buffer.resize(*bytes);
  EXPECT_EQ(buffer, payload);
}

TEST(CobsTest, EncodesAPayloadThatLiesAtTheEndOfItsOwnBuffer) {
  std::mt19937 random(7);
  for (int round = 0; round < 500; ++round) {
    const Bytes payload = random_bytes(random, random() % 1500, 1U << random() % 12);
    Bytes buffer(cobs_bytes_max(payload.size()));
    std::ranges::copy(payload, buffer.end() - static_cast<std::ptrdiff_t>(payload.size()));
    const std::size_t bytes = cobs_encode(std::span(buffer).last(payload.size()), buffer);
    ASSERT_EQ(to_hex(std::span(buffer).first(bytes)), to_hex(encoded(payload)));
  }
}

TEST(CobsTest, RefusesZerosAndRunsPastTheEnd) {
  EXPECT_EQ(decoded(from_hex("03 11 00")), std::unexpected(CobsError::kZero));
  EXPECT_EQ(decoded(from_hex("00")), std::unexpected(CobsError::kZero));
  EXPECT_EQ(decoded(from_hex("03 11")), std::unexpected(CobsError::kTruncated));
  EXPECT_EQ(decoded(from_hex("02")), std::unexpected(CobsError::kTruncated));
  EXPECT_EQ(decoded(kFull + counting(1, 253)), std::unexpected(CobsError::kTruncated));
}

TEST(CobsTest, EveryPrefixOfAFrameDecodesToAPrefixOrIsRefused) {
  const Bytes payload = from_hex("11 22 00 33") + counting(1, 255) + kZero;
  const Bytes frame = encoded(payload);
  for (std::size_t cut = 0; cut < frame.size(); ++cut) {
    const auto part = decoded(Bytes(frame.begin(), frame.begin() + static_cast<std::ptrdiff_t>(cut)));
    if (!part) {
      EXPECT_EQ(part.error(), CobsError::kTruncated);
    } else {
      ASSERT_LE(part->size(), payload.size());
      EXPECT_TRUE(std::ranges::equal(*part, std::span(payload).first(part->size())));
    }
  }
}

}  // namespace
}  // namespace wire
