// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/fault_record.h"

#include <gtest/gtest.h>

#include <cstring>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware::chip {
namespace {

TEST(FaultRecordTest, IsTakenOnce) {
  KeptFault kept;
  seal(kept, {.link = 0x0800C123, .program = 0x0800C456, .cause = 0x8200, .bus_address = 0x60000000});
  const auto taken = take(kept);
  ASSERT_TRUE(taken);
  EXPECT_EQ(taken->program, 0x0800C456U);
  EXPECT_EQ(taken->bus_address, 0x60000000U);
  EXPECT_FALSE(take(kept));
}

/// What memory holds after power-on is not a record, nor is one of which a bit has changed.
TEST(FaultRecordTest, IsNotReadOutOfNoise) {
  testing::Random random(1);
  KeptFault kept;
  for (int round = 0; round < 10'000; ++round) {
    std::uint32_t words[sizeof kept / 4];
    for (std::uint32_t& word : words) word = round < 2 ? round * UINT32_MAX : random.next();
    std::memcpy(&kept, words, sizeof kept);
    ASSERT_FALSE(take(kept)) << "round " << round;
  }
  for (std::size_t bit = 0; bit < 8 * sizeof kept; ++bit) {
    seal(kept, {.program = 0x0800C456});
    auto* bytes = reinterpret_cast<unsigned char*>(&kept);
    bytes[bit / 8] = static_cast<unsigned char>(bytes[bit / 8] ^ 1U << bit % 8);
    ASSERT_FALSE(take(kept)) << "bit " << bit;
  }
}

}  // namespace
}  // namespace firmware::chip
