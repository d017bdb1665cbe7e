// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/state_space.h"

namespace host::simulate {

Update first_order_hold(const StateSpace& system, double step_s) {
  const std::size_t n = system.a.rows;
  const std::size_t m = system.b.columns;
  // exp of [[a h, b h, 0], [0, 0, 1], [0, 0, 0]]: its upper row holds the transition and the two input integrals.
  Matrix extended(n + 2 * m, n + 2 * m);
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = 0; j < n; ++j) extended(i, j) = system.a(i, j) * step_s;
    for (std::size_t j = 0; j < m; ++j) extended(i, n + j) = system.b(i, j) * step_s;
  }
  for (std::size_t j = 0; j < m; ++j) extended(n + j, n + m + j) = 1;
  const Matrix power = exponential(extended);
  Update update{Matrix(n, n), Matrix(n, m), Matrix(n, m)};
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = 0; j < n; ++j) update.transition(i, j) = power(i, j);
    for (std::size_t j = 0; j < m; ++j) {
      update.now(i, j) = power(i, n + j) - power(i, n + m + j);
      update.next(i, j) = power(i, n + m + j);
    }
  }
  return update;
}

std::vector<double> steady_state(const StateSpace& system, const std::vector<double>& input) {
  std::vector<double> right(system.a.rows);
  for (std::size_t i = 0; i < right.size(); ++i) {
    for (std::size_t j = 0; j < input.size(); ++j) right[i] -= system.b(i, j) * input[j];
  }
  return solve(system.a, std::move(right));
}

}  // namespace host::simulate
