// SPDX-License-Identifier: Apache-2.0
// No scenario of the simulator wires a channel wrongly: whatever a supply does, no channel may be taken for one that
// is. Each channel's rail and noise are the simulator's own.
#include <cstdlib>
#include <filesystem>

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include "host/decode/review_file.h"
#include "host/detect/review.h"
#include "host/simulate/scenario.h"
#include "tests/simulation/seeds.h"

namespace {

TEST(ChannelCheckScenariosTest, NoScenarioGivesAFinding) {
  const std::uint64_t sessions = testing_jig::seeds(1);
  for (const auto& scenario : host::simulate::scenarios()) {
    for (std::uint64_t seed = 1; seed <= sessions; ++seed) {
      SCOPED_TRACE(fmt::format("{} seed {}", scenario.name, seed));
      const std::filesystem::path path =
          std::filesystem::temp_directory_path() /
          fmt::format("check-{}-{}.steadyrail", scenario.name, static_cast<int>(getpid()));
      const std::string command =
          fmt::format("'{}' rehearse --scenario {} --seed {} --for 5s --out '{}' --force > /dev/null 2>&1",
                      STEADYRAIL_PROGRAM, scenario.name, seed, path.string());
      ASSERT_NE(std::system(command.c_str()), -1);
      host::detect::Review review({.limits = {}, .unit = {}, .events_listed_max = 500});
      const auto described = host::decode::review_file(path.string(), review);
      std::filesystem::remove(path);
      ASSERT_TRUE(described.has_value()) << command;
      for (const auto& finding : review.channel_findings()) ADD_FAILURE() << finding.words;
    }
  }
}

}  // namespace
