// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/plant_design.h"

#include <utility>

namespace host::simulate {
namespace {

double radians_per_s(double hz) {
  return 2 * std::numbers::pi * hz;
}

/// A quantity as a weighted sum of states and inputs.
struct Form {
  std::vector<double> states;
  std::vector<double> inputs;
  explicit Form(const PlantDesign& design) : states(design.states), inputs(design.inputs) {}
  Form& state(std::size_t index, double weight) {
    states[index] += weight;
    return *this;
  }
  Form& input(std::size_t index, double weight) {
    inputs[index] += weight;
    return *this;
  }
  Form& add(const Form& other, double weight) {
    for (std::size_t i = 0; i < states.size(); ++i) states[i] += weight * other.states[i];
    for (std::size_t i = 0; i < inputs.size(); ++i) inputs[i] += weight * other.inputs[i];
    return *this;
  }
};

void set_row(StateSpace& system, std::size_t row, const Form& form, double scale = 1) {
  for (std::size_t i = 0; i < form.states.size(); ++i) system.a(row, i) = scale * form.states[i];
  for (std::size_t i = 0; i < form.inputs.size(); ++i) system.b(row, i) = scale * form.inputs[i];
}

/// Volts of the port's ground node: own currents through the return network, and what other rails cause there.
Form ground_volts(const PlantDesign& design, const GroundNetwork& ground, const Port& port) {
  Form form(design);
  for (const Port& other : design.ports) {
    form.state(other.current_state, other.polarity * ground.ohm(port.harness.node, other.harness.node));
  }
  return form.input(design.ground_input + port.harness.node, 1);
}

/// Volts at the port's tap above the supply's 0 V (magnitude for a negative rail).
Form tap_volts(const PlantDesign& design, const GroundNetwork& ground, const Port& port) {
  Form form(design);
  form.state(port.voltage_state, 1)
      .state(port.current_state, port.harness.load_esr_ohm + port.harness.downstream_ohm)
      .input(port.load_input, -port.harness.load_esr_ohm);
  return form.add(ground_volts(design, ground, port), port.polarity);
}

void set_port(StateSpace& system, const PlantDesign& design, const GroundNetwork& ground, const Port& port,
              const Form& output, double contact_ohm) {
  Form across(design);  // what is left for the loop's inductance
  across.add(output, 1).add(tap_volts(design, ground, port), -1);
  across.state(port.current_state, -(port.harness.wire_ohm + contact_ohm));
  set_row(system, port.current_state, across, 1 / port.harness.loop_henry);
  Form into(design);
  set_row(system, port.voltage_state, into.state(port.current_state, 1).input(port.load_input, -1),
          1 / port.harness.load_farad);
}

/// Appends ports and their states; inputs of the loads follow `first_load_input`.
void add_ports(PlantDesign& design, const std::vector<Harness>& harnesses, double polarity) {
  for (const Harness& harness : harnesses) {
    design.ports.push_back({harness, design.states, design.states + 1, design.inputs, polarity});
    design.states += 2;
    design.inputs += 1;
  }
}

enum RailState : std::size_t { kInductor, kPole, kIntegrator, kOutput, kBranch, kBulk, kRailStates };

StateSpace rail_system(const RailParameters& p, const PlantDesign& design, const GroundNetwork& ground, Mode mode,
                       std::span<const double> contact_ohm) {
  StateSpace system(design.states, design.inputs);
  const Form output = Form(design).state(kOutput, 1);
  const Form sensed = p.remote_sense ? tap_volts(design, ground, design.ports[*p.remote_sense]) : output;
  const double pole = radians_per_s(p.pole_hz);
  const double zero = radians_per_s(p.zero_hz);
  const double inner = radians_per_s(p.current_loop_hz);

  Form error(design);
  error.input(design.set_input, 1).add(sensed, -1).state(kInductor, -p.droop_ohm).state(kPole, -1);
  Form wanted(design);  // current asked of the inner loop
  wanted.state(kPole, p.loop_gain_a_per_v).state(kIntegrator, 1);
  Form allowed(design);  // what it is given
  if (mode == Mode::kRegulating) allowed = wanted;
  if (mode == Mode::kLimiting) allowed.input(design.limit_input, 1);
  Form integrator(design);
  integrator.state(kPole, p.loop_gain_a_per_v * zero).add(wanted, -zero).add(allowed, zero);
  if (mode == Mode::kOff) {  // the controller is held in reset
    error = Form(design).state(kPole, -1);
    integrator = Form(design).state(kIntegrator, -zero);
  }
  set_row(system, kPole, error, pole);
  set_row(system, kIntegrator, integrator);
  set_row(system, kInductor, allowed.state(kInductor, -1), inner);

  Form node(design);
  node.state(kInductor, 1).state(kBranch, -1);
  for (const Port& port : design.ports) node.state(port.current_state, -1);
  set_row(system, kOutput, node, 1 / p.ceramic_farad);
  set_row(system, kBranch, Form(design).state(kOutput, 1).state(kBulk, -1).state(kBranch, -p.bulk_esr_ohm),
          1 / p.bulk_esl_henry);
  set_row(system, kBulk, Form(design).state(kBranch, 1), 1 / p.bulk_farad);
  for (std::size_t i = 0; i < design.ports.size(); ++i) {
    set_port(system, design, ground, design.ports[i], output, contact_ohm[i]);
  }
  return system;
}

enum GroupState : std::size_t { kDuty, kInductor12, kBulk12, kInductor5, kBulk5, kGroupStates };

Form group_output(const PlantDesign& design, std::size_t inductor, std::size_t bulk, double esr_ohm,
                  std::size_t direct_input, std::size_t port_begin, std::size_t port_end) {
  Form form(design);
  form.state(bulk, 1).state(inductor, esr_ohm).input(direct_input, -esr_ohm);
  for (std::size_t i = port_begin; i < port_end; ++i) form.state(design.ports[i].current_state, -esr_ohm);
  return form;
}

struct GroupOutputs {
  Form v12;
  Form v5;
};

GroupOutputs group_outputs(const GroupParameters& p, const PlantDesign& design) {
  const std::size_t split = p.harnesses_12v.size();
  return {group_output(design, kInductor12, kBulk12, p.esr_12v_ohm, kGroupDirect12v, 0, split),
          group_output(design, kInductor5, kBulk5, p.esr_5v_ohm, kGroupDirect5v, split, design.ports.size())};
}

StateSpace group_system(const GroupParameters& p, const PlantDesign& design, const GroundNetwork& ground, Mode mode,
                        std::span<const double> contact_ohm) {
  constexpr double kTurns12 = 12;  // transformer ratios: volts of each output at duty 1
  constexpr double kTurns5 = 5;
  constexpr double kBlockedPerS = 1e5;  // an inductor current dies out behind its rectifier when the converter is off
  StateSpace system(design.states, design.inputs);
  const auto [v12, v5] = group_outputs(p, design);
  const std::size_t split = p.harnesses_12v.size();
  if (mode == Mode::kOff) {
    set_row(system, kDuty, Form(design).state(kDuty, -1), 1e3);
    set_row(system, kInductor12, Form(design).state(kInductor12, -kBlockedPerS));
    set_row(system, kInductor5, Form(design).state(kInductor5, -kBlockedPerS));
  } else {
    Form error(design);
    error.input(design.set_input, p.weight_12v + p.weight_5v);
    error.add(v12, -p.weight_12v / kTurns12).add(v5, -p.weight_5v / kTurns5);
    set_row(system, kDuty, error, p.integral_per_s);
    set_row(system, kInductor12, Form(design).state(kDuty, kTurns12).state(kInductor12, -p.ohm_12v).add(v12, -1),
            1 / p.henry_12v);
    set_row(system, kInductor5, Form(design).state(kDuty, kTurns5).state(kInductor5, -p.ohm_5v).add(v5, -1),
            1 / p.henry_5v);
  }
  Form into12(design);
  into12.state(kInductor12, 1).input(kGroupDirect12v, -1);
  Form into5(design);
  into5.state(kInductor5, 1).input(kGroupDirect5v, -1);
  for (std::size_t i = 0; i < design.ports.size(); ++i) {
    (i < split ? into12 : into5).state(design.ports[i].current_state, -1);
    set_port(system, design, ground, design.ports[i], i < split ? v12 : v5, contact_ohm[i]);
  }
  set_row(system, kBulk12, into12, 1 / p.farad_12v);
  set_row(system, kBulk5, into5, 1 / p.farad_5v);
  return system;
}

}  // namespace

PlantDesign design_rail(const RailParameters& parameters, const GroundNetwork& ground) {
  PlantDesign design;
  design.states = kRailStates;
  design.set_input = 0;
  design.limit_input = 1;
  design.inputs = 2;
  add_ports(design, parameters.harnesses, parameters.polarity);
  design.ground_input = design.inputs;
  design.inputs += kGroundNodes;
  design.loop_gain = parameters.loop_gain_a_per_v;
  design.pole_state = kPole;
  design.integrator_state = kIntegrator;
  const PlantDesign layout = design;
  design.system = [parameters, ground, layout](Mode mode, std::span<const double> contact_ohm) {
    return rail_system(parameters, layout, ground, mode, contact_ohm);
  };
  return design;
}

PlantDesign design_group(const GroupParameters& parameters, const GroundNetwork& ground) {
  PlantDesign design;
  design.states = kGroupStates;
  design.set_input = 0;
  design.limit_input = 1;
  design.inputs = 4;  // set, limit (unused), two direct loads
  add_ports(design, parameters.harnesses_12v, 1);
  add_ports(design, parameters.harnesses_5v, 1);
  design.ground_input = design.inputs;
  design.inputs += kGroundNodes;
  const PlantDesign layout = design;
  design.system = [parameters, ground, layout](Mode mode, std::span<const double> contact_ohm) {
    return group_system(parameters, layout, ground, mode, contact_ohm);
  };
  return design;
}

std::array<double, 2> group_output_volts(const GroupParameters& parameters, const PlantDesign& design,
                                         std::span<const double> state, std::span<const double> input) {
  const auto [v12, v5] = group_outputs(parameters, design);
  std::array<double, 2> volts{};
  for (std::size_t i = 0; i < design.states; ++i) {
    volts[0] += v12.states[i] * state[i];
    volts[1] += v5.states[i] * state[i];
  }
  for (std::size_t i = 0; i < design.inputs; ++i) {
    volts[0] += v12.inputs[i] * input[i];
    volts[1] += v5.inputs[i] * input[i];
  }
  return volts;
}

}  // namespace host::simulate
