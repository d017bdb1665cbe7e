// SPDX-License-Identifier: Apache-2.0
// A rail (or group) in motion: exact sub-steps, the current limit decided at the start of each.
#pragma once

#include <array>
#include <span>
#include <vector>

#include "host/simulate/plant_design.h"

namespace host::simulate {

inline constexpr std::size_t kSubSteps = 8;  // of a scan; fewer misplace the entry into the current limit by 16 mV

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
  struct Discrete {
    std::vector<double> transition;  // column by column, `stride_` a column
    std::vector<double> held;        // effect of a constant input, column by column
    std::vector<double> ahead;       // effect of the input's rise within the step
  };
  struct Contact {
    std::vector<double> ohm;
    std::array<Discrete, kModes> modes;  // empty until first used
  };
  struct Drive {  // what the inputs add: base + s * rise in sub-step s
    bool ready = false;
    std::vector<double> base;
    std::vector<double> rise;
  };
  const Discrete& discrete(Mode mode);
  void prepare(Drive& drive, const Discrete& update, std::span<const double> now, double steps);

  PlantDesign design_;
  double step_s_;
  std::size_t stride_;
  std::vector<double> state_;
  std::vector<Contact> contacts_;
  std::size_t contact_ = 0;
  bool off_ = false;
  std::array<Drive, kModes> drives_;
  std::vector<double> slope_;  // scratch: input rise per sub-step
};

}  // namespace host::simulate
