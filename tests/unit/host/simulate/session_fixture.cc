// SPDX-License-Identifier: Apache-2.0
#include "tests/unit/host/simulate/session_fixture.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "host/data/shipped.h"

namespace host::simulate {

model::Jig reference_jig() {
  auto jig = model::Jig::from_text(*data::shipped("jigs/reference.textproto"), "jigs/reference.textproto");
  EXPECT_TRUE(jig.has_value());
  return *jig;
}

Session::Session(std::string scenario, std::uint64_t seed, double seconds, const SupplyOptions& options,
                 const wire::JigOutputs& outputs)
    : jig_(reference_jig()) {
  auto supply = Supply::create(scenario, seed, jig_, options);
  EXPECT_TRUE(supply.has_value()) << supply.error();
  wire::ScanCodes codes;
  std::vector<wire::ScanEdge> edges;
  while (static_cast<double>(supply->next_scan()) < seconds * supply->scan_rate_hz()) {
    const double first = static_cast<double>(supply->next_scan());
    supply->next_block(codes, edges, outputs);
    scans_.insert(scans_.end(), codes.begin(), codes.end());
    for (const wire::ScanEdge& edge : edges) {
      const double scan = first + edge.offset + edge.offset_256 / 256.0;
      edges_.push_back({scan / supply->scan_rate_hz(), edge.line, edge.high != 0, edge.pulse_ns});
    }
  }
}

std::vector<double> Session::values(const std::string& channel) const {
  const model::JigChannel* found = jig_.find(channel);
  EXPECT_NE(found, nullptr) << channel;
  std::vector<double> result;
  result.reserve(scans_.size());
  for (const auto& scan : scans_) result.push_back(found->value(scan[found->index]));
  return result;
}

double Session::least(const std::string& channel) const {
  return std::ranges::min(values(channel));
}
double Session::most(const std::string& channel) const {
  return std::ranges::max(values(channel));
}

std::vector<double> Session::edge_times(int line, bool high) const {
  std::vector<double> times;
  for (const TimedEdge& edge : edges_) {
    if (edge.line == line && edge.high == high && edge.pulse_ns == 0) times.push_back(edge.time_s);
  }
  return times;
}

}  // namespace host::simulate
