// SPDX-License-Identifier: Apache-2.0
// One rail alone under given loads: for comparison with a circuit simulator, and to feed detectors directly.
#pragma once

#include <vector>

#include "host/simulate/plant_design.h"

namespace host::simulate {

struct LoadPoint {
  double time_s = 0;
  double amps = 0;
};
/// Straight lines between points, level before the first and after the last. Breakpoints should lie on the scan grid:
/// inside a scan the load is taken as the straight line between its ends.
using LoadLine = std::vector<LoadPoint>;

/// From `time_s` on, `ohm` is added to the supply conductor of `harness`.
struct ContactChange {
  double time_s = 0;
  std::size_t harness = 0;
  double ohm = 0;
};

/// The way back: one path per harness, all meeting at the board and the card.
struct ReturnLayout {
  std::vector<ReturnPath> paths;
  double tie_ohm = 0;
};

struct RailRun {
  std::vector<double> output_v;                   // one value a scan, the first at time 0
  std::vector<std::vector<double>> tap_v;         // per harness, against the return at its own plug
  std::vector<std::vector<double>> return_tap_v;  // per harness, above the supply's 0 V; empty without a return layout
  double limited_s = 0;                           // time in the current limit
};

/// Starts settled at the first loads. `loads` has one line per harness. `scans` values follow the first. Without a
/// return layout the way back has no resistance.
RailRun run_rail(const RailParameters& parameters, const std::vector<LoadLine>& loads, std::size_t scans,
                 double scan_rate_hz, const std::vector<ContactChange>& contacts = {},
                 const ReturnLayout& returns = {});

/// The same for a group without cables: `output_v` is +12 V, `tap_v[0]` is +5 V; loads of +12 V and +5 V.
RailRun run_group(const GroupParameters& parameters, const LoadLine& load_12v, const LoadLine& load_5v,
                  std::size_t scans, double scan_rate_hz);

}  // namespace host::simulate
