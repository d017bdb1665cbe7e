// SPDX-License-Identifier: Apache-2.0
// What draws current in a trial's PC, each at one level at a time; the taps follow.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "host/simulate/pc_load.h"

namespace trial {

using Scan = std::int64_t;  // since the session began; before it: negative

inline constexpr double kScansPerS = 32000;

inline Scan scans_of(double seconds) {
  return static_cast<Scan>(seconds * kScansPerS);
}

enum Source : std::size_t {
  kGraphics,   // of graphics-1; the two small cards take 4 and 2 % of it with it
  kProcessor,  // of both processor plugs
  kDrive,      // of the peripheral plug's +12 V; its +5 V follows
  kLogic5v,    // of the main plug
  kLogic3v3,
  kStandby,
  kSources
};

using Levels = std::array<double, kSources>;  // A

/// Currents at the taps at these levels; `off`: what is left when the PC is off.
inline host::simulate::TapAmps amps_of(const Levels& levels, bool off) {
  namespace sim = host::simulate;
  sim::TapAmps amps{};
  amps[sim::k5SbMain] = levels[kStandby];
  if (off) {
    amps[sim::k12Main] = 0.4;
    amps[sim::k5Main] = 0.5;
    amps[sim::k3v3Main] = 0.5;
    amps[sim::kM12Main] = 0.03;
    return amps;
  }
  amps[sim::k12Graphics1] = levels[kGraphics];
  amps[sim::k12Graphics2] = 0.8 + 0.04 * levels[kGraphics];
  amps[sim::k12Graphics3] = 0.5 + 0.02 * levels[kGraphics];
  amps[sim::k12Processor1] = 0.6 * levels[kProcessor];
  amps[sim::k12Processor2] = 0.4 * levels[kProcessor];
  amps[sim::k12Main] = 1.7;  // fans included
  amps[sim::k12Peripheral] = levels[kDrive];
  amps[sim::k5Peripheral] = 0.3 + 0.3 * levels[kDrive];
  amps[sim::k5Main] = levels[kLogic5v];
  amps[sim::k3v3Main] = levels[kLogic3v3];
  amps[sim::kM12Main] = 0.05;
  return amps;
}

/// Of +12 V, all plugs, A.
inline double total_12v(const Levels& levels) {
  return 1.06 * levels[kGraphics] + 1.3 + levels[kProcessor] + levels[kDrive] + 1.7;
}

}  // namespace trial
