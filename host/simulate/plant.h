// SPDX-License-Identifier: Apache-2.0
// A rail (or group) in motion: exact sub-steps, the current limit decided at the start of each.
#pragma once

#include <array>
#include <span>
#include <vector>

#include "host/simulate/plant_design.h"
#include "host/simulate/step_kernel.h"

namespace host::simulate {

inline constexpr std::size_t kSubSteps = 8;  // of a scan; fewer misplace the entry into the current limit by 16 mV

/// One quantity at the end of each sub-step of a scan.
using Track = std::array<double, kSubSteps>;

class Plant {
 public:
  Plant(PlantDesign design, double step_s);

  const PlantDesign& design() const { return design_; }
  /// State in the design's order, with zeros up to `stride()`.
  std::span<const double> state() const { return state_; }
  std::span<double> state() { return state_; }
  std::size_t stride() const { return stride_; }

  /// Jumps to the regulated steady state at constant `input`.
  void settle(std::span<const double> input);
  /// Converter off (true) or running.
  void set_off(bool off) { off_ = off; }
  /// Extra ohms in each port's supply conductor from the next run on. Each distinct set is discretised once and kept.
  void set_contact(std::span<const double> contact_ohm);
  /// `history.size() / stride()` sub-steps while the inputs go straight from `now` to `next`; row s of `history` is the
  /// state after sub-step s + 1. Returns how many sub-steps began in the current limit.
  std::size_t run(std::span<const double> now, std::span<const double> next, std::span<double> history);

 private:
  struct Discrete {  // as StepMatrices wants them
    std::vector<double> transition;
    std::vector<double> held;
    std::vector<double> ahead;
    StepMatrices matrices() const { return {transition.data(), held.data(), ahead.data()}; }
  };
  struct Contact {
    std::vector<double> ohm;
    std::array<Discrete, kModes> modes;  // empty until first used
  };
  struct Drive {
    std::vector<double> base;
    std::vector<double> rise;
  };
  const Discrete& discrete(Mode mode);

  PlantDesign design_;
  double step_s_;
  std::size_t stride_;
  Kernels kernels_;
  std::vector<double> state_;
  std::vector<Contact> contacts_;
  std::size_t contact_ = 0;
  bool off_ = false;
  std::array<Drive, kModes> drives_;
  std::vector<double> slope_;  // scratch: input rise per sub-step
};

}  // namespace host::simulate
