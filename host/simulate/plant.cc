// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/plant.h"

#include <algorithm>
#include <utility>

#include "host/simulate/lanes.h"
#include "host/simulate/step_kernel.h"

namespace host::simulate {
namespace {

std::vector<double> columns_of(const Matrix& matrix, std::size_t stride) {
  std::vector<double> columns(matrix.columns * stride);
  for (std::size_t i = 0; i < matrix.rows; ++i) {
    for (std::size_t j = 0; j < matrix.columns; ++j) columns[j * stride + i] = matrix(i, j);
  }
  return columns;
}

}  // namespace

Plant::Plant(PlantDesign design, double step_s)
    : design_(std::move(design)),
      step_s_(step_s),
      stride_(kernel_stride(design_.states)),
      kernels_(kernels_of(stride_)),
      state_(stride_),
      slope_(design_.inputs) {
  for (Drive& drive : drives_) {
    drive.base.resize(stride_);
    drive.rise.resize(stride_);
  }
  set_contact(std::vector<double>(design_.ports.size()));
}

void Plant::settle(std::span<const double> input) {
  const StateSpace system = design_.system(Mode::kRegulating, contacts_[contact_].ohm);
  const std::vector<double> steady = steady_state(system, {input.begin(), input.end()});
  std::ranges::copy(steady, state_.begin());
}

void Plant::set_contact(std::span<const double> contact_ohm) {
  for (contact_ = 0; contact_ < contacts_.size(); ++contact_) {
    if (std::ranges::equal(contacts_[contact_].ohm, contact_ohm)) return;
  }
  contacts_.push_back({{contact_ohm.begin(), contact_ohm.end()}, {}});
}

const Plant::Discrete& Plant::discrete(Mode mode) {
  Discrete& entry = contacts_[contact_].modes[static_cast<std::size_t>(mode)];
  if (entry.transition.empty()) {
    const Update update = first_order_hold(design_.system(mode, contacts_[contact_].ohm), step_s_);
    Matrix held = update.now;
    for (std::size_t i = 0; i < held.values.size(); ++i) held.values[i] += update.next.values[i];
    entry.transition = columns_of(update.transition, stride_);
    entry.transition.resize(stride_ * stride_);
    entry.held = columns_of(held, stride_);
    entry.ahead = columns_of(update.next, stride_);
  }
  return entry;
}

std::size_t Plant::run(std::span<const double> now, std::span<const double> next, std::span<double> history) {
  const std::size_t steps = history.size() / stride_;
  const double share = 1 / static_cast<double>(steps);
  for (std::size_t j = 0; j < design_.inputs; ++j) slope_[j] = (next[j] - now[j]) * share;
  const LimitTest test{design_.loop_gain, design_.pole_state, design_.integrator_state, now[design_.limit_input],
                       slope_[design_.limit_input]};
  const bool tested = design_.loop_gain != 0 && !off_;
  const double* state = state_.data();
  std::array<bool, kModes> driven{};
  std::size_t limited_steps = 0;
  for (std::size_t s = 0; s < steps;) {
    const bool limited = tested && test(state, s);
    const Mode mode = off_ ? Mode::kOff : (limited ? Mode::kLimiting : Mode::kRegulating);
    const std::size_t m = static_cast<std::size_t>(mode);
    const Discrete& update = discrete(mode);
    Drive& drive = drives_[m];
    if (!driven[m]) {
      kernels_.drive(update.matrices(), now.data(), slope_.data(), slope_.size(), drive.base.data(), drive.rise.data());
      driven[m] = true;
    }
    const std::size_t done = kernels_.run(update.transition.data(), drive.base.data(), drive.rise.data(), state,
                                          history.data(), s, steps, tested ? &test : nullptr, limited);
    if (limited) limited_steps += done - s;
    s = done;
    state = &history[(s - 1) * stride_];
  }
  for (std::size_t i = 0; i < stride_; ++i) state_[i] = unless_vanished(state[i]);
  return limited_steps;
}

}  // namespace host::simulate
