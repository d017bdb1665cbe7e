// SPDX-License-Identifier: Apache-2.0
// What the plugs of a PC carry: steady, and while excursions of a length run in all parts together.
#pragma once

#include <array>
#include <limits>
#include <string>
#include <vector>

#include "system.pb.h"

namespace host::label {

/// Of a load that lasts.
inline constexpr double kSteady = std::numeric_limits<double>::infinity();

struct PlugLoad {
  std::string plug;
  std::string socket;
  steadyrail::proto::PlugKind kind = steadyrail::proto::PLUG_KIND_UNKNOWN;
  std::array<double, steadyrail::proto::Rail_ARRAYSIZE> amps{};  // by rail, at nominal volts
};

/// Every plug of the PC, in the order of its cables, while each draw stands at its highest excursion of at least
/// `duration_s`; kSteady: at the draw itself. All parts' excursions together: the worst case.
std::vector<PlugLoad> loads(const steadyrail::proto::System& system, double duration_s);

/// Lengths of the excursions of all parts, each once, ascending.
std::vector<double> durations(const steadyrail::proto::System& system);

}  // namespace host::label
