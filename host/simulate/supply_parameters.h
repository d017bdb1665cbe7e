// SPDX-License-Identifier: Apache-2.0
// Everything that makes one simulated supply, its cables, its PC and its mains differ from another.
#pragma once

#include <array>
#include <expected>
#include <optional>
#include <string>
#include <string_view>

#include "host/simulate/connectors.h"
#include "host/simulate/contact.h"
#include "host/simulate/mains.h"
#include "host/simulate/pc.h"
#include "host/simulate/power_sequence.h"
#include "host/simulate/rail_set.h"

namespace host::simulate {

/// A +12 V reference that drifts away and stays there.
struct DriftParameters {
  double begin_s = 0;
  double full_s = 0;  // when it has arrived
  double share = 0;   // of the set voltage
};

/// A load branch at one of the jig's gates.
struct GateBranch {
  Tap tap = k12Main;
  double amps = 0;
};
inline constexpr std::size_t kGates = 8;
using GateBranches = std::array<GateBranch, kGates>;

/// Of a jig that describes no bank: one branch at each plug.
inline constexpr GateBranches kUndescribedGates = {{{k12Main, 6},
                                                    {k12Processor1, 6},
                                                    {k12Processor2, 6},
                                                    {k12Graphics1, 6},
                                                    {k12Graphics2, 6},
                                                    {k12Graphics3, 6},
                                                    {k5Main, 6},
                                                    {k3v3Main, 6}}};

/// As the description says: on the plug whose current channel it names, else on the first plug that has its rail. A
/// branch that the simulated supply has no plug for draws nothing.
GateBranches gates_of(const steadyrail::proto::JigDescription& jig);

struct SupplyParameters {
  RailSetParameters rails;
  SequenceParameters sequence;
  MainsParameters mains;
  PcParameters pc;
  PcLoadParameters load;
  std::optional<ContactParameters> contact;
  DriftParameters drift;
  GateBranches gates = kUndescribedGates;
  bool pwr_ok_chatters = false;    // a 2 us pulse each time the primary capacitor comes near the warning level
  double mains_residue_v = 0.005;  // amplitude on +12 V at rated current, at twice the mains frequency
  double switching_hz = 100e3;
  double ripple_current_pp_a = 4;  // through the resistance of the output capacitors
  double standby_switching_hz = 65e3;
  double standby_ripple_current_pp_a = 0.5;
};

/// The sound supply.
SupplyParameters healthy_supply();
/// A scenario's supply. Error: unknown name, with the known ones.
std::expected<SupplyParameters, std::string> supply_of(std::string_view scenario);

}  // namespace host::simulate
