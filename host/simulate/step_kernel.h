// SPDX-License-Identifier: Apache-2.0
// The inner loop of the simulation: one matrix times one vector, of a size the compiler knows.
#pragma once

#include <cstddef>

namespace host::simulate {

/// next = transition state + base + s rise. `transition` holds `stride` columns of `stride` doubles. `next` and `state`
/// must not overlap. The order of the sums is fixed, so every machine gets the same bits.
using StepKernel = void (*)(const double* transition, const double* base, const double* rise, double s,
                            const double* state, double* next);

/// The smallest size with a kernel that holds `states`; 0 above 32.
std::size_t kernel_stride(std::size_t states);
/// The kernel of a size `kernel_stride` gave.
StepKernel step_kernel(std::size_t stride);

}  // namespace host::simulate
