// SPDX-License-Identifier: Apache-2.0
// Everything that makes one simulated supply, its cables, its PC and its mains differ from another.
#pragma once

#include <expected>
#include <optional>
#include <string>
#include <string_view>

#include "host/simulate/pc_load.h"
#include "host/simulate/rail_set.h"

namespace host::simulate {

struct SupplyParameters {
  RailSetParameters rails;
  PcLoadParameters load;
  double rated_12v_a = 57;  // as on the label: the scale of mains residue
  double mains_hz = 50;
  double mains_residue_v = 0.005;  // amplitude on +12 V at rated current, at twice the mains frequency
  double switching_hz = 100e3;
  double ripple_current_pp_a = 4;  // through the output capacitor's resistance
  double standby_switching_hz = 65e3;
};

/// The sound supply.
SupplyParameters healthy_supply();
/// A scenario's supply. Error: unknown name, with the known ones.
std::expected<SupplyParameters, std::string> supply_of(std::string_view scenario);

}  // namespace host::simulate
