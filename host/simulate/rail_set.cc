// SPDX-License-Identifier: Apache-2.0
// The rails meet in the return network only. +12 V, which carries nearly all current, sees its own returns exactly and
// the others' through the currents their loads ask for; the others see the +12 V cables' true currents. What is left
// out is the difference between a small rail's cable and load current while its own bulk capacitor recovers.
#include "host/simulate/rail_set.h"

#include <algorithm>
#include <utility>

#include "host/simulate/quad.h"
#include "host/simulate/wide.h"

namespace host::simulate {
RailSet::RailSet(const RailSetParameters& parameters, double step_s)
    : parameters_(parameters), ground_({parameters.returns.begin(), parameters.returns.end()}, parameters.tie_ohm) {
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
  add_reading(units_.size() - 1);
}

void RailSet::add_reading(std::size_t unit) {
  const std::vector<Port>& ports = units_[unit].plant.design().ports;
  for (std::size_t p = 0; p < ports.size(); ++p) {
    const Port& port = ports[p];
    const Tap tap = units_[unit].taps[p];
    const GroundNode node = port.harness.node;
    reading_.unit[tap] = unit;
    reading_.port[tap] = p;
    reading_.current_state[tap] = port.current_state;
    reading_.load_input[tap] = port.load_input;
    reading_.esr_ohm[tap / kLanes][tap % kLanes] = port.harness.load_esr_ohm;
    reading_.downstream_ohm[tap / kLanes][tap % kLanes] = port.harness.downstream_ohm;
    reading_.polarity[tap / kLanes][tap % kLanes] = port.polarity;
    reading_.node_share[node][tap / kLanes][tap % kLanes] = port.polarity;
    // The plug's return tap takes its share of its own node's volts away again.
    const std::size_t connector = kTapConnector[tap];
    std::array<double, kGroundNodes> unit_volt{};
    unit_volt[parameters_.returns[connector].node] = 1;
    reading_.ground_share[node][tap / kLanes][tap % kLanes] += 1;
    reading_.ground_share[parameters_.returns[connector].node][tap / kLanes][tap % kLanes] -=
        ground_.tap_volts(connector, unit_volt);
  }
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
    unit.node_amps = {};
    for (const Tap tap : unit.taps) {
      unit.inputs_next[reading_.load_input[tap]] = amps[tap];
      for (std::size_t n = 0; n < kGroundNodes; ++n)
        unit.node_amps[n] += reading_.node_share[n][tap / kLanes][tap % kLanes] * amps[tap];
    }
    unit.plant.set_off(unit.taps[0] == k5SbMain ? drive.standby_off : drive.main_off);
  }
}

// Every unit's loads by their own wanted currents, but +12 V, once it has run, by those in its cables.
void RailSet::set_foreign_ground(std::size_t unit) {
  NodeAmps amps{};
  for (std::size_t other = 0; other < units_.size(); ++other) {
    if (other == unit) continue;
    for (std::size_t n = 0; n < kGroundNodes; ++n) amps[n] += units_[other].node_amps[n];
  }
  const NodeAmps volts = ground_.node_volts(amps);
  const std::size_t input = units_[unit].plant.design().ground_input;
  for (std::size_t n = 0; n < kGroundNodes; ++n) units_[unit].inputs_next[input + n] = volts[n];
}

void RailSet::measure_first_unit() {
  Unit& unit = units_[0];
  const std::span<const double> state = unit.plant.state();
  unit.node_amps = {};
  for (const Tap tap : unit.taps) {
    for (std::size_t n = 0; n < kGroundNodes; ++n) {
      unit.node_amps[n] += reading_.node_share[n][tap / kLanes][tap % kLanes] * state[reading_.current_state[tap]];
    }
  }
}

void RailSet::settle(const RailDrive& drive, const TapAmps& amps) {
  set_inputs(drive, amps);
  for (std::size_t i = 0; i < units_.size(); ++i) {
    set_foreign_ground(i);
    Unit& unit = units_[i];
    if (unit.taps[0] == k5SbMain ? drive.standby_off : drive.main_off) {
      std::ranges::fill(unit.plant.state(), 0.0);
    } else {
      unit.plant.settle(unit.inputs_next);
    }
    if (i == 0) measure_first_unit();
    unit.inputs_now = unit.inputs_next;
    for (std::size_t s = 0; s < kSubSteps; ++s) {
      std::copy_n(std::as_const(unit.plant).state().begin(), unit.plant.stride(),
                  unit.history.begin() + static_cast<std::ptrdiff_t>(s * unit.plant.stride()));
    }
  }
  read_scan();
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
    set_foreign_ground(i);
    Unit& unit = units_[i];
    const std::size_t limited = unit.plant.run(unit.inputs_now, unit.inputs_next, unit.history);
    if (i != 0) continue;
    limited_ = limited > 0;
    measure_first_unit();
  }
  read_scan();
}

double RailSet::load_v(Tap tap) const {
  const Unit& unit = units_[reading_.unit[tap]];
  const std::span<const double> state = unit.plant.state();
  const std::size_t current = reading_.current_state[tap];
  const double drawn = unit.inputs_next[reading_.load_input[tap]];
  return reading_.polarity[tap / kLanes][tap % kLanes] *
         (state[current + 1] + reading_.esr_ohm[tap / kLanes][tap % kLanes] * (state[current] - drawn));
}

// Four taps at a time, straight from scalars into lanes: through memory, each read would wait for the writes before it.
HOST_WIDE void RailSet::read_scan() {
  std::array<const double*, kTaps> row;  // each tap's current, then its capacitor's volts
  std::array<std::size_t, kTaps> stride;
  TapQuads drawn;
  TapQuads rise;
  for (std::size_t t = 0; t < kTaps; ++t) {
    const Unit& unit = units_[reading_.unit[t]];
    row[t] = &unit.history[reading_.current_state[t]];
    stride[t] = unit.plant.stride();
    const double now = unit.inputs_now[reading_.load_input[t]];
    drawn[t / kLanes][t % kLanes] = now;
    rise[t / kLanes][t % kLanes] = (unit.inputs_next[reading_.load_input[t]] - now) / kSubSteps;
  }
  for (std::size_t s = 0; s < kSubSteps; ++s) {
    Instant& instant = instants_[s];
    TapQuads amps;
    TapQuads volts;
    Quad board{};
    Quad card{};
    for (std::size_t q = 0; q < kTapQuads; ++q) {
      const double* const* from = &row[q * kLanes];
      amps[q] = Quad{from[0][0], from[1][0], from[2][0], from[3][0]};
      volts[q] = Quad{from[0][1], from[1][1], from[2][1], from[3][1]};
      board += reading_.node_share[kBoard][q] * amps[q];
      card += reading_.node_share[kCard][q] * amps[q];
    }
    for (std::size_t t = 0; t < kTaps; ++t) row[t] += stride[t];
    instant.ground_v =
        ground_.node_volts({(board[0] + board[1]) + (board[2] + board[3]), (card[0] + card[1]) + (card[2] + card[3])});
    const double steps = static_cast<double>(s + 1);
    for (std::size_t q = 0; q < kTapQuads; ++q) {
      const Quad taken = drawn[q] + rise[q] * steps;
      const Quad load = volts[q] + reading_.esr_ohm[q] * (amps[q] - taken);
      const Quad plug = reading_.polarity[q] * (load + reading_.downstream_ohm[q] * amps[q]) +
                        reading_.ground_share[kBoard][q] * instant.ground_v[kBoard] +
                        reading_.ground_share[kCard][q] * instant.ground_v[kCard];
      write_quad(amps[q], &instant.amps[q * kLanes]);
      write_quad(plug, &instant.plug_v[q * kLanes]);
    }
  }
}

}  // namespace host::simulate
