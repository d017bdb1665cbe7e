// SPDX-License-Identifier: Apache-2.0
// Expected values: RFC 3720 appendix B.4 (iSCSI), which prints the checksum's bytes in the order of the line; the
// "123456789" check value is the one catalogues of checksums give for CRC-32C, the empty one follows by calculation.
#include "proto/wire/crc32c.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "tests/unit/proto/wire/bytes.h"

namespace wire {
namespace {

/// The definition itself, bit by bit: reflected polynomial, ones in, ones out.
std::uint32_t crc32c_by_bit(std::span<const std::byte> bytes) {
  std::uint32_t rest = ~0U;
  for (const std::byte b : bytes) {
    rest ^= std::to_integer<std::uint32_t>(b);
    for (int bit = 0; bit < 8; ++bit) rest = (rest >> 1) ^ ((rest & 1) != 0 ? 0x82F63B78U : 0U);
  }
  return ~rest;
}

Bytes reversed(Bytes bytes) {
  std::ranges::reverse(bytes);
  return bytes;
}

struct Vector {
  const char* what;
  Bytes bytes;
  std::uint32_t checksum;
};

std::vector<Vector> published() {
  return {
      {"32 bytes of zeros", Bytes(32), 0x8A9136AA},
      {"32 bytes of ones", Bytes(32, std::byte{0xFF}), 0x62A8AB43},
      {"32 bytes counting up", counting(0, 31), 0x46DD794E},
      {"32 bytes counting down", reversed(counting(0, 31)), 0x113FDB5C},
      {"iSCSI read command",
       from_hex("01C00000 00000000 00000000 00000000 14000000 00000400 00000014 00000018 28000000 00000000 02000000 "
                "00000000"),
       0xD9963A56},
      {"123456789", from_hex("31 32 33 34 35 36 37 38 39"), 0xE3069283},
      {"nothing", {}, 0},
  };
}

TEST(Crc32cTest, GivesThePublishedChecksums) {
  for (const Vector& vector : published()) {
    EXPECT_EQ(crc32c(vector.bytes), vector.checksum) << vector.what;
    EXPECT_EQ(crc32c_by_table(vector.bytes), vector.checksum) << vector.what;
  }
}

TEST(Crc32cTest, BothPathsEqualTheDefinitionAtEveryLengthAndStart) {
  std::mt19937 random(1);
  const Bytes bytes = random_bytes(random, 300, 256);
  for (std::size_t start = 0; start < 9; ++start) {
    for (std::size_t count = 0; count + start <= bytes.size(); ++count) {
      const std::span part = std::span(bytes).subspan(start, count);
      const std::uint32_t expected = crc32c_by_bit(part);
      ASSERT_EQ(crc32c(part), expected) << start << "+" << count;
      ASSERT_EQ(crc32c_by_table(part), expected) << start << "+" << count;
    }
  }
}

TEST(Crc32cTest, GoesOnWhereAnEarlierCallEnded) {
  const Bytes bytes = counting(0, 255);
  for (std::size_t cut = 0; cut <= bytes.size(); ++cut) {
    const std::span all(bytes);
    EXPECT_EQ(crc32c(all.subspan(cut), crc32c(all.first(cut))), crc32c(all));
    EXPECT_EQ(crc32c_by_table(all.subspan(cut), crc32c_by_table(all.first(cut))), crc32c(all));
  }
}

}  // namespace
}  // namespace wire
