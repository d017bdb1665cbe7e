// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/plant.h"

#include <algorithm>
#include <cstring>
#include <utility>

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

void Plant::prepare(Drive& drive, const Discrete& update, std::span<const double> now, double steps) {
  std::ranges::fill(drive.base, 0.0);
  std::ranges::fill(drive.rise, 0.0);
  for (std::size_t j = 0; j < design_.inputs; ++j) {
    const double* held = &update.held[j * stride_];
    const double* ahead = &update.ahead[j * stride_];
    const double slope = slope_[j] / steps;
    for (std::size_t i = 0; i < stride_; ++i) {
      drive.base[i] += held[i] * now[j] + ahead[i] * slope;
      drive.rise[i] += held[i] * slope;
    }
  }
  drive.ready = true;
}

std::size_t Plant::run(std::span<const double> now, std::span<const double> next, std::span<double> history) {
  const std::size_t steps = history.size() / stride_;
  for (std::size_t j = 0; j < design_.inputs; ++j) slope_[j] = next[j] - now[j];
  for (Drive& drive : drives_) drive.ready = false;
  const double limit_rise = slope_[design_.limit_input] / static_cast<double>(steps);
  const StepKernel kernel = step_kernel(stride_);
  const double* state = state_.data();
  std::size_t limited = 0;
  for (std::size_t s = 0; s < steps; ++s) {
    const double wanted = design_.loop_gain * state[design_.pole_state] + state[design_.integrator_state];
    const double limit = now[design_.limit_input] + limit_rise * static_cast<double>(s);
    const bool in_limit = design_.loop_gain != 0 && wanted > limit && !off_;
    limited += in_limit;
    const Mode mode = off_ ? Mode::kOff : (in_limit ? Mode::kLimiting : Mode::kRegulating);
    const Discrete& update = discrete(mode);
    Drive& drive = drives_[static_cast<std::size_t>(mode)];
    if (!drive.ready) prepare(drive, update, now, static_cast<double>(steps));
    double* out = &history[s * stride_];
    kernel(update.transition.data(), drive.base.data(), drive.rise.data(), static_cast<double>(s), state, out);
    state = out;
  }
  std::memcpy(state_.data(), state, stride_ * sizeof(double));
  return limited;
}

}  // namespace host::simulate
