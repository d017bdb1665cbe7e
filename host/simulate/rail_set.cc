// SPDX-License-Identifier: Apache-2.0
// The rails meet in the return network only. +12 V, which carries nearly all current, sees its own returns exactly and
// the others' through the currents their loads ask for; the others see the +12 V cables' true currents. What is left
// out is the difference between a small rail's cable and load current while its own bulk capacitor recovers.
#include "host/simulate/rail_set.h"

#include <algorithm>
#include <utility>

#include "host/simulate/lanes.h"

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
    Reading& reading = readings_[tap];
    reading = {unit,
               port.current_state,
               port.load_input,
               port.harness.load_esr_ohm,
               port.harness.downstream_ohm,
               port.polarity,
               {},
               {}};
    reading.node_share[node] = port.polarity;
    // The plug's return tap takes its share of its own node's volts away again.
    const std::size_t connector = kTapConnector[tap];
    const GroundNode return_node = parameters_.returns[connector].node;
    std::array<double, kGroundNodes> one_volt{};
    one_volt[return_node] = 1;
    reading.ground_share[node] += 1;
    reading.ground_share[return_node] -= ground_.tap_volts(connector, one_volt);
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
      unit.inputs_next[readings_[tap].load_input] = amps[tap];
      for (std::size_t n = 0; n < kGroundNodes; ++n) unit.node_amps[n] += readings_[tap].node_share[n] * amps[tap];
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
      unit.node_amps[n] += readings_[tap].node_share[n] * state[readings_[tap].current_state];
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
    by_port.reserve(unit.taps.size());
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
  const Unit& unit = units_[readings_[tap].unit];
  const std::span<const double> state = unit.plant.state();
  const std::size_t current = readings_[tap].current_state;
  const double drawn = unit.inputs_next[readings_[tap].load_input];
  return readings_[tap].polarity * (state[current + 1] + readings_[tap].esr_ohm * (state[current] - drawn));
}

Instant RailSet::at(std::size_t sub_step) const {
  Instant instant;
  for (std::size_t t = 0; t < kTaps; ++t) {
    instant.amps[t] = tracks_.amps[t][sub_step];
    instant.plug_v[t] = tracks_.plug_v[t][sub_step];
  }
  for (std::size_t n = 0; n < kGroundNodes; ++n) instant.ground_v[n] = tracks_.ground_v[n][sub_step];
  return instant;
}

// Lanes are sub-steps, so no sum runs across lanes.
template <typename Several>
[[gnu::always_inline]] inline void RailSet::read_with() {
  constexpr std::size_t kTogether = kLanesOf<Several>;
  constexpr std::size_t kGroups = kSubSteps / kTogether;
  static constexpr Track kShare = {0.125, 0.25, 0.375, 0.5, 0.625, 0.75, 0.875, 1};  // of the scan that has passed
  std::array<Several, kGroups> board{};
  std::array<Several, kGroups> card{};
  for (std::size_t t = 0; t < kTaps; ++t) {
    const Reading& reading = readings_[t];
    const Unit& unit = units_[reading.unit];
    const std::size_t stride = unit.plant.stride();
    const double now = unit.inputs_now[reading.load_input];
    const double rise = unit.inputs_next[reading.load_input] - now;
    for (std::size_t g = 0; g < kGroups; ++g) {
      const double* row = &unit.history[g * kTogether * stride + reading.current_state];  // current, then its capacitor
      Several amps, volts, share;
      gather_lanes(amps, row, stride);
      gather_lanes(volts, row + 1, stride);
      read_lanes(share, &kShare[g * kTogether]);
      const Several load = volts + reading.esr_ohm * (amps - (now + rise * share));
      const Several plug = reading.polarity * (load + reading.downstream_ohm * amps);
      board[g] += reading.node_share[kBoard] * amps;
      card[g] += reading.node_share[kCard] * amps;
      write_lanes(amps, &tracks_.amps[t][g * kTogether]);
      write_lanes(plug, &tracks_.plug_v[t][g * kTogether]);
    }
  }
  for (std::size_t g = 0; g < kGroups; ++g) {
    const Several board_v = ground_.ohm(kBoard, kBoard) * board[g] + ground_.ohm(kBoard, kCard) * card[g];
    const Several card_v = ground_.ohm(kCard, kBoard) * board[g] + ground_.ohm(kCard, kCard) * card[g];
    write_lanes(board_v, &tracks_.ground_v[kBoard][g * kTogether]);
    write_lanes(card_v, &tracks_.ground_v[kCard][g * kTogether]);
    for (std::size_t t = 0; t < kTaps; ++t) {
      Several plug;
      read_lanes(plug, &tracks_.plug_v[t][g * kTogether]);
      plug += readings_[t].ground_share[kBoard] * board_v + readings_[t].ground_share[kCard] * card_v;
      write_lanes(plug, &tracks_.plug_v[t][g * kTogether]);
    }
  }
}

#if HOST_HAS_WIDE
HOST_WIDE void RailSet::read_wide() {
  read_with<Quad>();
}
#endif

void RailSet::read_scan() {
#if HOST_HAS_WIDE
  if (machine_is_wide()) {
    read_wide();
  } else {
    read_with<Pair>();
  }
#else
  read_with<Pair>();
#endif
  now_ = at(kSubSteps - 1);
}

}  // namespace host::simulate
