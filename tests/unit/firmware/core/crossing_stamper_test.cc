// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/crossing_stamper.h"

#include <gtest/gtest.h>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

using testing::events_of;
using testing::JigFixture;
namespace proto = steadyrail::proto;

proto::Arm thresholds(std::initializer_list<std::int32_t> codes) {
  proto::Arm arm;
  arm.set_set(1);
  for (const std::int32_t code : codes) {
    arm.add_thresholds()->set_channel(5);
    arm.mutable_thresholds(arm.thresholds_size() - 1)->set_code(code);
  }
  return arm;
}

TEST(CrossingStamperTest, StampsEachThresholdWithBothCodesWhereverBlocksBegin) {
  for (std::uint64_t delay = 0; delay < 32; ++delay) {
    JigFixture jig;
    jig.begin(thresholds({100, 1050}));
    // Up 30 codes a scan from scan 70 on: 100 is passed from 90 to 120, 1050 reached exactly 35 scans up.
    jig.play([=](std::uint64_t scan,
                 std::size_t) { return static_cast<std::int16_t>(scan < 70 + delay ? 0 : 30 * (scan - 70 - delay)); },
             6);
    const auto events = events_of(jig.heard(), proto::Event::kCrossing);
    ASSERT_EQ(events.size(), 2U) << delay;
    EXPECT_EQ(events[0].crossing().threshold(), 0U);
    EXPECT_TRUE(events[0].crossing().rising());
    EXPECT_EQ(events[0].crossing().scan_before(), 73 + delay);
    EXPECT_EQ(events[0].crossing().code_before(), 90);
    EXPECT_EQ(events[0].crossing().code_after(), 120);
    EXPECT_EQ(events[1].crossing().threshold(), 1U);
    EXPECT_EQ(events[1].crossing().scan_before(), 104 + delay);
    EXPECT_EQ(events[1].crossing().code_after(), 1050);
  }
}

TEST(CrossingStamperTest, StampsFallingCrossingsAndNoneAcrossAGap) {
  JigFixture jig;
  jig.begin(thresholds({500}));
  const auto high = [](std::uint64_t, std::size_t) { return std::int16_t{600}; };
  const auto low = [](std::uint64_t, std::size_t) { return std::int16_t{400}; };
  jig.play(high, 1);
  jig.play(low, 1);
  jig.lose(1);
  jig.play(high, 1);
  const auto events = events_of(jig.heard(), proto::Event::kCrossing);
  ASSERT_EQ(events.size(), 1U);
  EXPECT_FALSE(events[0].crossing().rising());
  EXPECT_EQ(events[0].crossing().scan_before(), 31U);
}

TEST(CrossingStamperTest, LetsOneSignalThatLingersNotCrowdOutAnother) {
  JigFixture jig;
  proto::Arm arm = thresholds({500});
  arm.add_thresholds()->set_channel(6);
  arm.mutable_thresholds(1)->set_code(500);
  jig.begin(arm);
  jig.play(
      [](std::uint64_t scan, std::size_t channel) {
        if (channel == 5) return static_cast<std::int16_t>(scan % 2 == 0 ? 499 : 501);
        return static_cast<std::int16_t>(scan < 20000 ? 0 : 1000);
      },
      1000);
  std::size_t lingering = 0;
  std::size_t clean = 0;
  for (const auto& event : events_of(jig.heard(), proto::Event::kCrossing)) {
    (event.crossing().channel() == 5 ? lingering : clean)++;
  }
  EXPECT_EQ(clean, 1U);
  EXPECT_LE(lingering, kCrossingsBurst + kCrossingsPerSecond + kSharedCrossingsBurst + kSharedCrossingsPerSecond);
  EXPECT_EQ(jig.health().events_dropped, 31999 - lingering);  // every one of the rest is counted
}

}  // namespace
}  // namespace firmware
