// SPDX-License-Identifier: Apache-2.0
#include "tests/simulation/rehearsal_fixture.h"

#include <cstdlib>
#include <filesystem>

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include "host/decode/review_file.h"

namespace testing_jig {

void rehearse(std::string_view scenario, std::uint64_t seed, int seconds, host::detect::Review& review) {
  const std::filesystem::path path = std::filesystem::temp_directory_path() /
                                     fmt::format("{}-{}-{}.steadyrail", scenario, seed, static_cast<int>(getpid()));
  const std::string command =
      fmt::format("'{}' rehearse --scenario {} --seed {} --for {}s --out '{}' --force > /dev/null 2>&1",
                  STEADYRAIL_PROGRAM, scenario, seed, seconds, path.string());
  EXPECT_NE(std::system(command.c_str()), -1);
  const auto described = host::decode::review_file(path.string(), review);
  EXPECT_TRUE(described.has_value()) << command;
  std::filesystem::remove(path);
}

}  // namespace testing_jig
