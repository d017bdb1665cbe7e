// SPDX-License-Identifier: Apache-2.0
// The chain of registers as its pins drive it: a model of the register takes every write of the port's BSRR.
#include "firmware/board/stm32f405/source_register.h"

#include <gtest/gtest.h>

namespace firmware::chip {
namespace {

constexpr std::uint32_t kData = 14;
constexpr std::uint32_t kClock = 15;
constexpr std::uint32_t kLatch = 2;
constexpr std::uint32_t kEnable = 3;

/// Shifts on the clock's rise, hands over on the latch's.
struct Chain {
  std::uint64_t shifted = 0;
  std::uint64_t taken = 0;
  std::uint32_t levels = 0;
  bool enabled_while_shifting = false;

  void write(std::uint32_t bits) {
    const std::uint32_t before = levels;
    levels = (levels & ~(bits >> 16)) | (bits & 0xFFFF);
    const auto rose = [&](std::uint32_t pin) { return (levels >> pin & 1) != 0 && (before >> pin & 1) == 0; };
    if (rose(kClock)) shifted = (shifted << 1 | (levels >> kData & 1)) & ((std::uint64_t{1} << 40) - 1);
    if (rose(kClock) && enabled()) enabled_while_shifting = true;
    if (rose(kLatch)) taken = shifted;
  }
  bool enabled() const { return (levels >> kEnable & 1) != 0; }
};

struct Fixture {
  Fixture() {
    port.BSRR.on_write = [this](std::uint32_t bits) {
      chain.write(bits);
      return bits;
    };
    source.set_up();
  }
  Gpio port;
  Chain chain;
  SourceRegister source{{&port, kData}, {&port, kClock}, {&port, kLatch}, {&port, kEnable}};
};

TEST(SourceRegisterTest, SendsOutputsResistanceAndLevelInTheirPlaces) {
  Fixture f;
  f.source.join({.outputs = 0x80000001U, .level = 2, .weak = true});
  EXPECT_EQ(f.chain.taken, std::uint64_t{0x80000001U} << 4 | 8U | 2U);
  EXPECT_TRUE(f.chain.enabled());
  f.source.join({.outputs = 0x00A50000U, .level = 5, .weak = false});
  EXPECT_EQ(f.chain.taken, std::uint64_t{0x00A50000U} << 4 | 5U);
}

TEST(SourceRegisterTest, OpensEveryRelayBeforeAnythingElse) {
  Fixture f;
  f.source.join({.outputs = 7, .level = 1, .weak = false});
  ASSERT_TRUE(f.chain.enabled());
  f.chain.enabled_while_shifting = false;
  f.source.join({});
  EXPECT_FALSE(f.chain.enabled());
  EXPECT_FALSE(f.chain.enabled_while_shifting);
  EXPECT_EQ(f.chain.taken, 0U);
}

TEST(SourceRegisterTest, ComesUpDisabledAndAsOutputs) {
  Fixture f;
  EXPECT_FALSE(f.chain.enabled());
  for (const std::uint32_t pin : {kData, kClock, kLatch, kEnable}) EXPECT_EQ(f.port.MODER.value >> 2 * pin & 3, 1U);
}

}  // namespace
}  // namespace firmware::chip
