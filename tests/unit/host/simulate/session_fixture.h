// SPDX-License-Identifier: Apache-2.0
// A simulated session as a reader of the reference jig's codes sees it.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "host/model/jig.h"
#include "host/simulate/supply.h"

namespace host::simulate {

model::Jig reference_jig();

struct TimedEdge {
  double time_s = 0;
  int line = 0;
  bool high = false;
  std::uint32_t pulse_ns = 0;
};

class Session {
 public:
  Session(std::string scenario, std::uint64_t seed, double seconds, const SupplyOptions& options = {},
          const wire::JigOutputs& outputs = {});

  /// Calibrated values of a channel, one a scan.
  std::vector<double> values(const std::string& channel) const;
  double least(const std::string& channel) const;
  double most(const std::string& channel) const;
  const std::vector<TimedEdge>& edges() const { return edges_; }
  /// Times of the edges of a line to one level; latched pulses are left out.
  std::vector<double> edge_times(int line, bool high) const;

 private:
  model::Jig jig_;
  std::vector<std::array<std::int16_t, wire::kChannelCount>> scans_;
  std::vector<TimedEdge> edges_;
};

}  // namespace host::simulate
