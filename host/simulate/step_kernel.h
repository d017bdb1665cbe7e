// SPDX-License-Identifier: Apache-2.0
// The inner loops of the simulation, of sizes the compiler knows. The order of every sum is fixed, so every machine
// gets the same bits.
#pragma once

#include <cstddef>

namespace host::simulate {

/// Matrices stand column by column, `stride` doubles a column, as many state columns as `stride`.
struct StepMatrices {
  const double* transition = nullptr;
  const double* held = nullptr;   // effect of a constant input
  const double* ahead = nullptr;  // effect of an input's rise within the step
};

/// The drive of a run: sub-step s adds base + s * rise. From the inputs at its begin and their rise per sub-step:
/// base = held now + ahead slope, rise = held slope.
using DriveKernel = void (*)(const StepMatrices& matrices, const double* now, const double* slope, std::size_t inputs,
                             double* base, double* rise);

/// In the current limit while gain * state[pole] + state[integrator] exceeds limit + s * limit_rise.
struct LimitTest {
  double gain = 0;
  std::size_t pole = 0;
  std::size_t integrator = 0;
  double limit = 0;
  double limit_rise = 0;

  bool operator()(const double* state, std::size_t s) const {
    return gain * state[pole] + state[integrator] > limit + limit_rise * static_cast<double>(s);
  }
};

/// Sub-steps `first` to `end` while the limit test keeps saying `limited` (a null test is not asked); row s of
/// `history` becomes the state after sub-step s. `state` is the one before `first`. Returns the first one not done.
using RunKernel = std::size_t (*)(const double* transition, const double* base, const double* rise, const double* state,
                                  double* history, std::size_t first, std::size_t end, const LimitTest* test,
                                  bool limited);

struct Kernels {
  DriveKernel drive = nullptr;
  RunKernel run = nullptr;
};

/// The smallest stride with kernels that holds `states`; 0 above 32.
std::size_t kernel_stride(std::size_t states);
/// The kernels of a stride `kernel_stride` gave: the fastest this machine has, and those every machine has.
Kernels kernels_of(std::size_t stride);
Kernels narrow_kernels_of(std::size_t stride);

}  // namespace host::simulate
