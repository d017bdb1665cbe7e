// SPDX-License-Identifier: Apache-2.0
// The averaged equations of a rail and its cables, as matrices. Two kinds: a converter of its own with a type-II
// voltage loop, and +12 V and +5 V from one transformer behind one error amplifier.
#pragma once

#include <functional>
#include <numbers>
#include <optional>
#include <span>
#include <vector>

#include "host/simulate/ground_network.h"
#include "host/simulate/state_space.h"

namespace host::simulate {

enum class Mode { kRegulating, kLimiting, kOff };
inline constexpr std::size_t kModes = 3;

/// One connector's supply conductor and the load behind it.
struct Harness {
  double wire_ohm = 0;        // supply to tap: conductor and contact
  double downstream_ohm = 0;  // tap to load
  double loop_henry = 0;
  double load_farad = 0;  // bulk capacitor at the load
  double load_esr_ohm = 0;
  GroundNode node = kBoard;
};

/// Where a harness meets the state vector.
struct Port {
  Harness harness;
  std::size_t current_state = 0;  // A through the supply conductor
  std::size_t voltage_state = 0;  // V of the load's bulk capacitor, above its ground node
  std::size_t load_input = 0;     // A drawn by the load
  double polarity = 1;            // -1: a negative rail, modelled by its magnitude
};

/// Inputs: what the reference is set to (V for a converter, 1 for a group), the current limit (A), direct loads of a
/// group's outputs (A), the load current of each port (A), and the volts other rails cause at the two ground nodes.
struct PlantDesign {
  std::size_t states = 0;
  std::size_t inputs = 0;
  std::size_t set_input = 0;
  std::size_t limit_input = 0;
  std::size_t ground_input = 0;  // board; card is the next one
  std::vector<Port> ports;
  // In limit while loop_gain * x[pole_state] + x[integrator_state] exceeds the limit input. Gain 0: never.
  double loop_gain = 0;
  std::size_t pole_state = 0;
  std::size_t integrator_state = 0;
  /// `contact_ohm[p]` is added to the supply conductor of port p, upstream of its tap.
  std::function<StateSpace(Mode mode, std::span<const double> contact_ohm)> system;
};

/// A rail with its own converter.
struct RailParameters {
  double set_v = 0;
  double bulk_farad = 0;  // output capacitor
  double bulk_esr_ohm = 0;
  double bulk_esl_henry = 0;
  double ceramic_farad = 0;
  double loop_gain_a_per_v = 0;  // 1 / mid-band output impedance
  double zero_hz = 0;            // of the type-II compensation
  double pole_hz = 0;
  double current_loop_hz = 0;
  double droop_ohm = 0;
  double limit_a = 0;
  std::optional<std::size_t> remote_sense;  // the harness at whose tap the loop senses; none: at the output
  double polarity = 1;
  std::vector<Harness> harnesses;
};
/// States: inductor current, loop pole, integrator, output, capacitor branch current, capacitor; then current and
/// voltage of each harness.
PlantDesign design_rail(const RailParameters& parameters, const GroundNetwork& ground);

/// +12 V and +5 V from one transformer; the error amplifier sees their weighted sum. Diode rectifiers, no current
/// limit.
struct GroupParameters {
  double weight_12v = 0.6;
  double weight_5v = 0.4;
  double ohm_12v = 0;  // of winding and rectifier
  double ohm_5v = 0;
  double henry_12v = 0;
  double henry_5v = 0;
  double farad_12v = 0;
  double farad_5v = 0;
  double esr_12v_ohm = 0;
  double esr_5v_ohm = 0;
  double integral_per_s = 0;
  std::vector<Harness> harnesses_12v;
  std::vector<Harness> harnesses_5v;
};
/// States: duty, inductor current and capacitor of +12 V, the same of +5 V; then the harnesses, +12 V first.
/// Inputs 2 and 3 are loads directly at the +12 V and the +5 V output.
PlantDesign design_group(const GroupParameters& parameters, const GroundNetwork& ground);
inline constexpr std::size_t kGroupDirect12v = 2;
inline constexpr std::size_t kGroupDirect5v = 3;

/// Volts of a group's outputs, +12 V then +5 V.
std::array<double, 2> group_output_volts(const GroupParameters& parameters, const PlantDesign& design,
                                         std::span<const double> state, std::span<const double> input);

}  // namespace host::simulate
