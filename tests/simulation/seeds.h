// SPDX-License-Identifier: Apache-2.0
// How many seeds a test runs: the default, or STEADYRAIL_SEEDS times as many for the long runs.
#pragma once

#include <cstdint>
#include <cstdlib>

namespace testing_jig {

inline std::uint64_t seeds(std::uint64_t default_count) {
  const char* times = std::getenv("STEADYRAIL_SEEDS");
  return times == nullptr ? default_count : default_count * std::strtoull(times, nullptr, 10);
}

}  // namespace testing_jig
