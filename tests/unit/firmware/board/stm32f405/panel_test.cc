// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/panel.h"

#include <gtest/gtest.h>

namespace firmware::chip {
namespace {

/// A made contact pulls its pin to ground.
TEST(KeyedLinkTest, IsAModeOnlyWithExactlyOneContactMade) {
  Gpio port;
  KeyedLink link({&port, 1}, {&port, 8});
  const auto read = [&](bool observe_made, bool bench_made) {
    port.IDR.value = (observe_made ? 0U : 1U << 1) | (bench_made ? 0U : 1U << 8);
    return link.read();
  };
  EXPECT_EQ(read(true, false), Mode::kObserve);
  EXPECT_EQ(read(false, true), Mode::kBench);
  EXPECT_EQ(read(false, false), Mode::kUnknown);
  EXPECT_EQ(read(true, true), Mode::kUnknown);
}

TEST(PsOnOutputTest, SetsAndReleasesItsPinAlone) {
  Gpio port;
  PsOnOutput output({&port, 9});
  output.drive(true);
  EXPECT_EQ(port.BSRR.value, 1U << 9);
  output.drive(false);
  EXPECT_EQ(port.BSRR.value, 1U << 25);
}

TEST(MarkerButtonTest, TakesAPressOnceThroughBouncing) {
  Gpio port;
  MarkerButton button({&port, 13});
  std::vector<bool> told;
  const auto hold = [&](bool pressed, int blocks) {
    port.IDR.value = pressed ? 0 : 1U << 13;
    for (int k = 0; k < blocks; ++k) {
      if (const auto level = button.look()) told.push_back(*level);
    }
  };
  hold(false, 50);
  for (int bounce = 0; bounce < 10; ++bounce) {
    hold(true, 2);
    hold(false, 1);
  }
  EXPECT_TRUE(told.empty());
  hold(true, 100);
  hold(false, 3);
  hold(true, 100);
  hold(false, 100);
  EXPECT_EQ(told, (std::vector<bool>{true, false}));
}

TEST(UsePinTest, WritesTheFieldsOfItsPinAndNoOther) {
  Gpio port;
  for (Reg* reg : {&port.MODER, &port.PUPDR, &port.OSPEEDR, &port.AFR[0], &port.AFR[1]}) reg->value = 0x55555555;
  use_pin({&port, 10}, PinUse::kAlternate, Pull::kDown, 3);
  EXPECT_EQ(port.MODER.value, (0x55555555U & ~(3U << 20)) | 2U << 20);
  EXPECT_EQ(port.PUPDR.value, (0x55555555U & ~(3U << 20)) | 2U << 20);
  EXPECT_EQ(port.AFR[1].value, (0x55555555U & ~(15U << 8)) | 3U << 8);
  EXPECT_EQ(port.AFR[0].value, 0x55555555U);
}

}  // namespace
}  // namespace firmware::chip
