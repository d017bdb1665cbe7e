// SPDX-License-Identifier: Apache-2.0
#include "tests/bench/simulated_samples.h"

#include <fmt/core.h>

#include "host/data/shipped.h"
#include "host/model/jig.h"
#include "host/simulate/supply.h"

namespace bench {

Samples simulated_samples(std::string_view scenario, std::size_t scan_count, std::uint64_t seed) {
  constexpr std::string_view kJig = "jigs/reference.textproto";
  const auto jig = host::model::Jig::from_text(host::data::shipped(kJig).value_or(""), kJig);
  if (!jig) {
    fmt::print(stderr, "the reference jig cannot be read\n");
    return {};
  }
  auto supply = host::simulate::Supply::create(scenario, seed, *jig);
  if (!supply) {
    fmt::print(stderr, "{}\n", supply.error());
    return {};
  }
  Samples samples;
  wire::ScanCodes codes;
  std::vector<wire::ScanEdge> edges;
  for (std::size_t scan = 0; scan < scan_count; scan += wire::kScansPerBlock) {
    supply->next_block(codes, edges, {});
    for (const auto& one : codes) {
      for (std::size_t channel = 0; channel < wire::kChannelCount; ++channel) samples[channel].push_back(one[channel]);
    }
  }
  return samples;
}

}  // namespace bench
