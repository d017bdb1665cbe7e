// SPDX-License-Identifier: Apache-2.0
// A linear system and its exact update for inputs that are straight lines between samples (first-order hold).
#pragma once

#include <vector>

#include "host/simulate/matrix.h"

namespace host::simulate {

/// dx/dt = a x + b u, time in seconds.
struct StateSpace {
  Matrix a;
  Matrix b;
  StateSpace(std::size_t states, std::size_t inputs) : a(states, states), b(states, inputs) {}
};

/// x(t + h) = transition x(t) + now u(t) + next u(t + h).
struct Update {
  Matrix transition;
  Matrix now;
  Matrix next;
};

/// Exact but for rounding, however stiff the system.
Update first_order_hold(const StateSpace& system, double step_s);

/// The state that stays at constant `input`. A system with a free integrator has none: NaN or infinity.
std::vector<double> steady_state(const StateSpace& system, const std::vector<double>& input);

}  // namespace host::simulate
