// SPDX-License-Identifier: Apache-2.0
// The rails meet in the return network only. +12 V, which carries nearly all current, sees its own returns exactly and
// the others' through the currents their loads ask for; the others see the +12 V cables' true currents. What is left
// out is the difference between a small rail's cable and load current while its own bulk capacitor recovers.
#include "host/simulate/rail_set.h"

#include <utility>

namespace host::simulate {

RailSet::RailSet(const RailSetParameters& parameters, double step_s)
    : parameters_(parameters),
      ground_({parameters.returns.begin(), parameters.returns.end()}, parameters.tie_ohm),
      step_s_(step_s) {
  std::vector<Tap> p12v;
  for (std::size_t i = k12Main; i <= k12Peripheral; ++i) p12v.push_back(static_cast<Tap>(i));
  if (parameters.group) {
    std::vector<Tap> both = p12v;
    both.insert(both.end(), {k5Main, k5Peripheral});
    add_unit(design_group(*parameters.group, ground_), both, step_s);
  } else {
    add_unit(design_rail(parameters.p12v, ground_), p12v, step_s);
    add_unit(design_rail(parameters.p5v, ground_), {k5Main, k5Peripheral}, step_s);
  }
  add_unit(design_rail(parameters.p3v3, ground_), {k3v3Main}, step_s);
  add_unit(design_rail(parameters.m12v, ground_), {kM12Main}, step_s);
  add_unit(design_rail(parameters.p5vsb, ground_), {k5SbMain}, step_s);
}

void RailSet::add_unit(PlantDesign design, std::vector<Tap> taps, double step_s) {
  const std::size_t inputs = design.inputs;
  Unit unit{
      Plant(std::move(design), step_s), std::move(taps), std::vector<double>(inputs), std::vector<double>(inputs), {}};
  unit.history.resize(kSubSteps * unit.plant.stride());
  units_.push_back(std::move(unit));
}

void RailSet::set_inputs(const RailDrive& drive, const TapAmps& amps) {
  for (Unit& unit : units_) {
    const PlantDesign& design = unit.plant.design();
    double set = drive.main_scale;
    double limit = 0;
    switch (unit.taps[0]) {
      case k12Main:
        set *= drive.p12v_scale * (parameters_.group ? 1 : parameters_.p12v.set_v);
        limit = drive.p12v_limit_a;
        break;
      case k5Main:
        set *= parameters_.p5v.set_v;
        limit = parameters_.p5v.limit_a;
        break;
      case k3v3Main:
        set *= parameters_.p3v3.set_v;
        limit = parameters_.p3v3.limit_a;
        break;
      case kM12Main:
        set *= parameters_.m12v.set_v;
        limit = parameters_.m12v.limit_a;
        break;
      default:
        set = drive.standby_scale * parameters_.p5vsb.set_v;
        limit = drive.p5vsb_limit_a;
    }
    unit.inputs_next[design.set_input] = set;
    unit.inputs_next[design.limit_input] = limit;
    for (std::size_t p = 0; p < unit.taps.size(); ++p) {
      unit.inputs_next[design.ports[p].load_input] = amps[unit.taps[p]];
    }
    unit.plant.set_off(unit.taps[0] == k5SbMain ? drive.standby_off : drive.main_off);
  }
}

RailSet::NodeAmps RailSet::load_amps(const Unit& unit) const {
  NodeAmps amps{};
  for (const Port& port : unit.plant.design().ports) {
    amps[port.harness.node] += port.polarity * unit.inputs_next[port.load_input];
  }
  return amps;
}

RailSet::NodeAmps RailSet::state_amps(const Unit& unit) const {
  NodeAmps amps{};
  const std::span<const double> state = unit.plant.state();
  for (const Port& port : unit.plant.design().ports) {
    amps[port.harness.node] += port.polarity * state[port.current_state];
  }
  return amps;
}

void RailSet::set_foreign_ground(std::size_t unit, const NodeAmps& first) {
  NodeAmps amps = first;
  for (std::size_t other = 1; other < units_.size(); ++other) {
    if (other == unit) continue;
    const NodeAmps loads = load_amps(units_[other]);
    for (std::size_t n = 0; n < kGroundNodes; ++n) amps[n] += loads[n];
  }
  const NodeAmps volts = ground_.node_volts(amps);
  const std::size_t input = units_[unit].plant.design().ground_input;
  for (std::size_t n = 0; n < kGroundNodes; ++n) units_[unit].inputs_next[input + n] = volts[n];
}

void RailSet::settle(const RailDrive& drive, const TapAmps& amps) {
  set_inputs(drive, amps);
  for (std::size_t i = 0; i < units_.size(); ++i) {
    set_foreign_ground(i, i == 0 ? NodeAmps{} : state_amps(units_[0]));
    Unit& unit = units_[i];
    unit.plant.settle(unit.inputs_next);
    unit.inputs_now = unit.inputs_next;
    for (std::size_t s = 0; s < kSubSteps; ++s) {
      std::copy_n(std::as_const(unit.plant).state().begin(), unit.plant.stride(),
                  unit.history.begin() + static_cast<std::ptrdiff_t>(s * unit.plant.stride()));
    }
  }
  for (std::size_t s = 0; s < kSubSteps; ++s) read(s);
}

void RailSet::set_contact(const std::array<double, kTaps>& ohm) {
  for (Unit& unit : units_) {
    std::vector<double> by_port;
    for (const Tap tap : unit.taps) by_port.push_back(ohm[tap]);
    unit.plant.set_contact(by_port);
  }
}

void RailSet::run_scan(const RailDrive& drive, const TapAmps& amps) {
  for (Unit& unit : units_) unit.inputs_now.swap(unit.inputs_next);
  set_inputs(drive, amps);
  for (std::size_t i = 0; i < units_.size(); ++i) {
    set_foreign_ground(i, i == 0 ? NodeAmps{} : state_amps(units_[0]));
    Unit& unit = units_[i];
    const std::size_t limited = unit.plant.run(unit.inputs_now, unit.inputs_next, unit.history);
    if (i == 0) limited_ = limited > 0;
  }
  for (std::size_t s = 0; s < kSubSteps; ++s) read(s);
}

void RailSet::read(std::size_t step) {
  Instant& instant = instants_[step];
  NodeAmps node{};
  const double share = static_cast<double>(step + 1) / kSubSteps;
  for (const Unit& unit : units_) {
    const double* state = &unit.history[step * unit.plant.stride()];
    const std::vector<Port>& ports = unit.plant.design().ports;
    for (std::size_t p = 0; p < ports.size(); ++p) {
      const Port& port = ports[p];
      const Tap tap = unit.taps[p];
      const double amps = state[port.current_state];
      const double now = unit.inputs_now[port.load_input];
      const double drawn = now + share * (unit.inputs_next[port.load_input] - now);
      const double load_v = state[port.voltage_state] + port.harness.load_esr_ohm * (amps - drawn);
      node[port.harness.node] += port.polarity * amps;
      instant.amps[tap] = amps;
      instant.load_v[tap] = port.polarity * load_v;
      instant.plug_v[tap] = port.polarity * (load_v + port.harness.downstream_ohm * amps);
    }
  }
  const NodeAmps volts = ground_.node_volts(node);
  for (std::size_t c = 0; c < kConnectors; ++c) {
    instant.return_tap_v[c] = ground_.tap_volts(c, volts);
    instant.return_amps[c] = ground_.path_amps(c, volts);
  }
  for (const Unit& unit : units_) {
    const std::vector<Port>& ports = unit.plant.design().ports;
    for (std::size_t p = 0; p < ports.size(); ++p) {
      const Tap tap = unit.taps[p];
      instant.plug_v[tap] += volts[ports[p].harness.node] - instant.return_tap_v[kTapConnector[tap]];
    }
  }
}

}  // namespace host::simulate
