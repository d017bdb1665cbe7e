// SPDX-License-Identifier: Apache-2.0
// How a rail's voltage at one connector follows the currents of its rail: v = V0 - sum of R_k I_k, learnt as it goes.
#pragma once

#include <array>
#include <cstddef>
#include <span>

namespace host::detect {

/// A Kalman filter on slowly wandering coefficients: bounded memory, and directions the load does not excite keep their
/// prior instead of drifting.
class LoadLine {
 public:
  static constexpr std::size_t kCurrentsMax = 7;

  /// `currents` of the rail, at most kCurrentsMax (further ones are ignored); `own`: place of the connector's own
  /// current channel among them, or `currents` when it has none.
  LoadLine(double nominal_v, std::size_t currents, std::size_t own);

  /// One settled mean. Returns false when it lies too far off to be believed: a contact that opened, not a new line.
  /// After 100 in a row that disagree the line gives in.
  bool learn(double volts, std::span<const double> amps);
  /// Ohms, never below 0.
  double resistance(std::size_t current) const;
  std::size_t currents() const { return currents_; }

 private:
  static constexpr std::size_t kSizeMax = kCurrentsMax + 1;
  using Vector = std::array<double, kSizeMax>;

  void reset_spread();

  std::size_t currents_;
  std::size_t own_;
  double nominal_v_;
  bool seeded_ = false;
  int disagreed_ = 0;
  Vector state_{};  // V0, then R
  std::array<Vector, kSizeMax> spread_{};
};

}  // namespace host::detect
