// SPDX-License-Identifier: Apache-2.0
// No scenario of the simulator wires a channel wrongly: whatever a supply does, no channel may be taken for one that
// is. Each channel's rail and noise are the simulator's own.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include "host/simulate/scenario.h"
#include "tests/simulation/rehearsal_fixture.h"
#include "tests/simulation/seeds.h"

namespace {

TEST(ChannelCheckScenariosTest, NoScenarioGivesAFinding) {
  const std::uint64_t sessions = testing_jig::seeds(1);
  for (const auto& scenario : host::simulate::scenarios()) {
    for (std::uint64_t seed = 1; seed <= sessions; ++seed) {
      SCOPED_TRACE(fmt::format("{} seed {}", scenario.name, seed));
      host::detect::Review review({.limits = {}, .unit = {}, .events_listed_max = 500});
      testing_jig::rehearse(scenario.name, seed, 5, review);
      for (const auto& finding : review.channel_findings()) ADD_FAILURE() << finding.words;
    }
  }
}

}  // namespace
