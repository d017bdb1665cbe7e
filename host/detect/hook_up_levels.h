// SPDX-License-Identifier: Apache-2.0
// What stands on the jig's inputs while a bench is being hooked up: dead, in its place, or not.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "host/decode/sink.h"
#include "host/model/jig.h"

namespace host::detect {

/// Means of all windows it is given.
class LevelMeter : public decode::Sink {
 public:
  void windows(const decode::WindowBatch& batch) override;
  bool any() const { return windows_ > 0; }
  /// Mean at the connector, V; nullopt: nothing came.
  std::optional<double> volts(const model::JigChannel& channel) const;

 private:
  std::uint64_t windows_ = 0;
  std::array<double, wire::kChannelCount> sum_8_{};
};

/// Outputs surely above a voltage, either way, one sentence each.
struct LiveRails {
  std::vector<std::string> wrong;
  std::string highest;  // "highest of 11 outputs: main-5vsb 0.012 V"; empty: nothing was read
};
LiveRails live_rails(const model::Jig& jig, const LevelMeter& levels, double most_v);

/// Which rail stands where. A dead main rail is no fault: the supply may not be switched on.
struct RailPlaces {
  std::vector<std::string> wrong;
  std::size_t in_place = 0;
  std::size_t dead = 0;
};
RailPlaces rail_places(const model::Jig& jig, const LevelMeter& levels);

}  // namespace host::detect
