// SPDX-License-Identifier: Apache-2.0
#include "host/link/host_clock.h"

#include <gtest/gtest.h>

namespace host::link {
namespace {

constexpr std::int64_t kStartUs = 1'767'225'600'000'000;

TEST(SimulatedClockTest, FollowsTheDeviceWithASmallOneSidedDelay) {
  SimulatedClock clock(model::HostTime{std::chrono::microseconds(kStartUs)}, 32'000, 7);
  EXPECT_EQ(clock.now().since_epoch.count(), kStartUs);
  double sum_us = 0;
  constexpr int kMarks = 4000;
  for (int i = 0; i < kMarks; ++i) {
    const std::uint64_t scan = 8000u * static_cast<std::uint64_t>(i);
    const auto delay_us = clock.mark_arrival(scan).since_epoch.count() - kStartUs - 250'000 * i;
    ASSERT_GE(delay_us, 200);
    ASSERT_LE(delay_us, 5000);
    sum_us += static_cast<double>(delay_us);
  }
  // 0.2 ms and an exponential of mean 0.3 ms; the mean of 4,000 lies within 4 sigma = 0.019 ms.
  EXPECT_NEAR(sum_us / kMarks, 500, 19);
  EXPECT_EQ(clock.now().since_epoch.count(), clock.mark_arrival(8000u * (kMarks - 1)).since_epoch.count());
}

TEST(SimulatedClockTest, OneSeedGivesTheSameTimesInAnyOrder) {
  SimulatedClock one(model::HostTime{}, 32'000, 7);
  SimulatedClock two(model::HostTime{}, 32'000, 7);
  SimulatedClock other(model::HostTime{}, 32'000, 8);
  const auto late = one.mark_arrival(64'000);
  const auto early = one.mark_arrival(32'000);
  EXPECT_EQ(two.mark_arrival(32'000), early);
  EXPECT_EQ(two.mark_arrival(64'000), late);
  EXPECT_NE(other.mark_arrival(32'000), early);
}

}  // namespace
}  // namespace host::link
