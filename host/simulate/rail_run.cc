// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/rail_run.h"

#include <algorithm>
#include <utility>

#include "host/simulate/plant.h"

namespace host::simulate {
namespace {

double at(const LoadLine& line, double time_s) {
  if (line.empty()) return 0;
  if (time_s <= line.front().time_s) return line.front().amps;
  for (std::size_t i = 1; i < line.size(); ++i) {
    if (time_s > line[i].time_s) continue;
    const LoadPoint& from = line[i - 1];
    const double share = (time_s - from.time_s) / (line[i].time_s - from.time_s);
    return from.amps + share * (line[i].amps - from.amps);
  }
  return line.back().amps;
}

// Contacts change at the scan boundary nearest their time.
void apply_contacts(Plant& plant, std::vector<double>& ohm, const std::vector<ContactChange>& changes, double time_s,
                    double half_scan_s) {
  for (const ContactChange& change : changes) {
    if (change.time_s < time_s - half_scan_s || change.time_s >= time_s + half_scan_s) continue;
    ohm[change.harness] = change.ohm;
    plant.set_contact(ohm);
  }
}

void add_values(RailRun& result, const RailParameters& parameters, const GroundNetwork& ground,
                const PlantDesign& design, std::span<const double> state, const std::vector<double>& input) {
  constexpr std::size_t kOutputState = 3;
  result.output_v.push_back(state[kOutputState]);
  std::array<double, kGroundNodes> into_ground{};
  for (const Port& port : design.ports) {
    into_ground[port.harness.node] += parameters.polarity * state[port.current_state];
  }
  const std::array<double, kGroundNodes> ground_v = ground.node_volts(into_ground);
  for (std::size_t i = 0; i < design.ports.size(); ++i) {
    const Port& port = design.ports[i];
    const double amps = state[port.current_state];
    double volts = state[port.voltage_state] + port.harness.load_esr_ohm * (amps - input[port.load_input]) +
                   port.harness.downstream_ohm * amps;
    if (i < result.return_tap_v.size()) {
      const double return_v = ground.tap_volts(i, ground_v);
      result.return_tap_v[i].push_back(return_v);
      volts += parameters.polarity * (ground_v[port.harness.node] - return_v);
    }
    result.tap_v[i].push_back(volts);
  }
}

}  // namespace

RailRun run_rail(const RailParameters& parameters, const std::vector<LoadLine>& loads, std::size_t scans,
                 double scan_rate_hz, const std::vector<ContactChange>& contacts, const ReturnLayout& returns) {
  const GroundNetwork ground = returns.paths.empty() ? GroundNetwork() : GroundNetwork(returns.paths, returns.tie_ohm);
  Plant plant(design_rail(parameters, ground), 1 / (scan_rate_hz * kSubSteps));
  const PlantDesign& design = plant.design();
  const auto inputs_at = [&](double time_s) {
    std::vector<double> input(design.inputs);
    input[design.set_input] = parameters.set_v;
    input[design.limit_input] = parameters.limit_a;
    for (std::size_t i = 0; i < loads.size(); ++i) input[design.ports[i].load_input] = at(loads[i], time_s);
    return input;
  };
  RailRun result;
  result.tap_v.resize(design.ports.size());
  result.return_tap_v.resize(returns.paths.size());
  const auto record = [&](const std::vector<double>& input) {
    add_values(result, parameters, ground, design, std::as_const(plant).state(), input);
  };
  std::vector<double> contact_ohm(design.ports.size());
  std::vector<double> now = inputs_at(0);
  plant.settle(now);
  record(now);
  std::vector<double> history(kSubSteps * plant.stride());
  std::size_t limited = 0;
  for (std::size_t scan = 0; scan < scans; ++scan) {
    const double time_s = static_cast<double>(scan) / scan_rate_hz;
    apply_contacts(plant, contact_ohm, contacts, time_s, 0.5 / scan_rate_hz);
    const std::vector<double> next = inputs_at(static_cast<double>(scan + 1) / scan_rate_hz);
    limited += plant.run(now, next, history);
    now = next;
    record(now);
  }
  result.limited_s = static_cast<double>(limited) / (scan_rate_hz * kSubSteps);
  return result;
}

RailRun run_group(const GroupParameters& parameters, const LoadLine& load_12v, const LoadLine& load_5v,
                  std::size_t scans, double scan_rate_hz) {
  Plant plant(design_group(parameters, GroundNetwork()), 1 / (scan_rate_hz * kSubSteps));
  const PlantDesign& design = plant.design();
  RailRun result;
  result.tap_v.resize(1);
  std::vector<double> history(kSubSteps * plant.stride());
  std::vector<double> now(design.inputs);
  for (std::size_t scan = 0; scan <= scans; ++scan) {
    std::vector<double> next(design.inputs);
    next[design.set_input] = 1;
    next[kGroupDirect12v] = at(load_12v, static_cast<double>(scan) / scan_rate_hz);
    next[kGroupDirect5v] = at(load_5v, static_cast<double>(scan) / scan_rate_hz);
    if (scan == 0) {
      plant.settle(next);
    } else {
      plant.run(now, next, history);
    }
    now = next;
    const auto volts = group_output_volts(parameters, design, std::as_const(plant).state(), now);
    result.output_v.push_back(volts[0]);
    result.tap_v[0].push_back(volts[1]);
  }
  return result;
}

}  // namespace host::simulate
