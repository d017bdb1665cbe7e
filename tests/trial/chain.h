// SPDX-License-Identifier: Apache-2.0
// The jig's inputs without noise: which signal each channel sees, its true scale, its poles. Readings are in codes.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "host/model/jig.h"
#include "host/simulate/plant.h"
#include "proto/wire/window.h"

namespace trial {

/// What no channel shows but decides whether the PC hangs: the volts across two loads.
inline constexpr std::size_t kLoadGraphics = wire::kChannelCount;
inline constexpr std::size_t kLoadProcessor = wire::kChannelCount + 1;
inline constexpr std::size_t kSeen = wire::kChannelCount + 2;

using Values = std::array<double, kSeen>;  // V or A, by channel
using Reading = std::array<float, kSeen>;  // codes, by channel; the loads in V

class Chain {
 public:
  /// `jig`: every channel has two poles, or none. True gains and offsets are drawn inside what the calibration claims.
  Chain(const host::model::Jig& jig, std::uint64_t seed);

  /// Fills the poles as if `values` had stood for ever.
  void settle(const Values& values);
  /// One scan: straight lines between the ends of the sub-steps.
  void run(const std::array<Values, host::simulate::kSubSteps>& values);
  Reading reading() const;
  double codes_per_unit(std::size_t channel) const { return codes_per_unit_[channel]; }

 private:
  using Lanes = std::array<double, wire::kChannelCount>;
  struct Pole {
    Lanes keep{}, stale{}, fresh{}, state{};
  };
  std::array<Pole, 2> poles_;
  Lanes codes_per_unit_{};
  Lanes code_at_zero_{};
  Values last_{};  // filtered
};

}  // namespace trial
