// SPDX-License-Identifier: Apache-2.0
// A sound supply under a game sags with its load. The aim, our own: fewer than one sag an hour, of all channels
// together, that the load does not explain.
#include <algorithm>
#include <cstdio>

#include <gtest/gtest.h>

#include "tests/simulation/rehearsal_fixture.h"
#include "tests/simulation/seeds.h"

namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

constexpr int kSessionS = 180;

TEST(SagRateTest, AHealthyGameHasFewerThanOneUnexplainedSagAnHour) {
  const std::uint64_t sessions = testing_jig::seeds(1);
  std::uint64_t sags = 0, unexplained = 0;
  for (std::uint64_t seed = 21; seed < 21 + sessions; ++seed) {
    host::detect::Review review({.limits = {}, .unit = {}, .events_listed_max = 500});
    testing_jig::rehearse("healthy", seed, kSessionS, review);
    const SessionResult result = review.result();
    for (const EventCount& count : result.event_counts()) {
      if (count.kind() != EVENT_KIND_SAG) continue;
      sags += count.listed() + count.counted();
      unexplained += count.unexplained();
    }
  }
  EXPECT_GT(sags, 0U);  // the desk is awake
  const double hours = static_cast<double>(sessions) * kSessionS / 3600;
  std::printf("%.2f h of game, %llu sags, %llu of them not explained by the load\n", hours,
              static_cast<unsigned long long>(sags), static_cast<unsigned long long>(unexplained));
  EXPECT_LT(static_cast<double>(unexplained), std::max(1.0, hours));
}

}  // namespace
