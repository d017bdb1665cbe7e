// SPDX-License-Identifier: Apache-2.0
// How many times real time the simulated supply runs, all 24 channels of the reference jig, on one core. Processor
// time, so that other jobs on the machine count less; the goal is 20.
#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <ctime>
#include <string_view>
#include <vector>

#include "host/data/shipped.h"
#include "host/model/jig.h"
#include "host/simulate/scenario.h"
#include "host/simulate/supply.h"

namespace {

double processor_s() {
  timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

/// Times real time over `seconds` of device time; the sum of codes keeps the work from being optimised away.
double speed(const host::model::Jig& jig, std::string_view scenario, double seconds, std::int64_t& sum) {
  auto supply = host::simulate::Supply::create(scenario, 1, jig);
  wire::ScanCodes codes;
  std::vector<wire::ScanEdge> edges;
  const double begin = processor_s();
  while (static_cast<double>(supply->next_scan()) < seconds * supply->scan_rate_hz()) {
    supply->next_block(codes, edges, {});
    sum += codes[0][0];
  }
  return seconds / (processor_s() - begin);
}

}  // namespace

int main(int argc, char** argv) {
  const double seconds = argc > 1 ? std::atof(argv[1]) : 20;
  const auto jig = host::model::Jig::from_text(*host::data::shipped("jigs/reference.textproto"), "reference");
  if (!jig || !(seconds > 0)) {
    fmt::print(stderr, "usage: simulate_bench [seconds of device time, above 0 [scenario]]\n");
    return 2;
  }
  constexpr int kRuns = 3;
  std::int64_t sum = 0;
  fmt::print("{:22} {:>12} {:>12}   ({} s of 24 channels at 32 kS/s, {} runs)\n", "scenario", "x real time",
             "worst run", seconds, kRuns);
  for (const host::simulate::Scenario& scenario : host::simulate::scenarios()) {
    if (argc > 2 && scenario.name != std::string_view(argv[2])) continue;
    std::vector<double> runs;
    for (int i = 0; i < kRuns; ++i) runs.push_back(speed(*jig, scenario.name, seconds, sum));
    std::ranges::sort(runs);
    fmt::print("{:22} {:12.1f} {:12.1f}\n", scenario.name, runs[kRuns / 2], runs.front());
  }
  return sum == 0 ? 3 : 0;
}
