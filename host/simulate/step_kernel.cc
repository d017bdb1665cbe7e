// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/step_kernel.h"

#include <array>
#include <utility>

#include "host/simulate/lanes.h"

namespace host::simulate {
namespace {

template <typename Lanes, std::size_t Count>
using Rows = std::array<Lanes, Count>;

// Vector by vector: copied as a whole, rows pass through memory in pieces and the next step waits for them.
template <typename Lanes, std::size_t Count>
[[gnu::always_inline]] inline void read(Rows<Lanes, Count>& rows, const double* from) {
#pragma GCC unroll 16
  for (std::size_t i = 0; i < Count; ++i) read_lanes(rows[i], from + i * kLanesOf<Lanes>);
}
template <typename Lanes, std::size_t Count>
[[gnu::always_inline]] inline void write(const Rows<Lanes, Count>& rows, double* to) {
#pragma GCC unroll 16
  for (std::size_t i = 0; i < Count; ++i) write_lanes(rows[i], to + i * kLanesOf<Lanes>);
}

/// sum += column * factor
template <typename Lanes, std::size_t Count>
[[gnu::always_inline]] inline void accumulate(Rows<Lanes, Count>& sum, const double* column, double factor) {
#pragma GCC unroll 16
  for (std::size_t i = 0; i < Count; ++i) {
    Lanes part;
    read_lanes(part, column + i * kLanesOf<Lanes>);
    sum[i] += part * factor;
  }
}

/// How many vectors of sums to keep at a time: two sets of them must stay in 16 registers.
constexpr std::size_t rows_together(std::size_t rows) {
  std::size_t together = 7;
  while (rows % together != 0) --together;
  return together;
}

template <typename Lanes, std::size_t Stride>
[[gnu::always_inline]] inline void drive_with(const StepMatrices& matrices, const double* now, const double* slope,
                                              std::size_t inputs, double* base, double* rise) {
  constexpr std::size_t kTogether = rows_together(Stride / kLanesOf<Lanes>);
  for (std::size_t row = 0; row < Stride; row += kTogether * kLanesOf<Lanes>) {
    Rows<Lanes, kTogether> sum{};
    Rows<Lanes, kTogether> slopes{};
    for (std::size_t j = 0; j < inputs; ++j) accumulate(sum, matrices.held + j * Stride + row, now[j]);
    for (std::size_t j = 0; j < inputs; ++j) {
      if (slope[j] == 0) continue;  // adds nothing; most inputs stand still
      accumulate(sum, matrices.ahead + j * Stride + row, slope[j]);
      accumulate(slopes, matrices.held + j * Stride + row, slope[j]);
    }
    write(sum, base + row);
    write(slopes, rise + row);
  }
}

template <typename Lanes, std::size_t Stride>
[[gnu::always_inline]] inline std::size_t run_with(const double* transition, const double* base, const double* rise,
                                                   const double* state, double* history, std::size_t first,
                                                   std::size_t end, const LimitTest* test, bool limited) {
  constexpr std::size_t kTogether = rows_together(Stride / kLanesOf<Lanes>);
  std::size_t s = first;
  for (; s < end && (test == nullptr || (*test)(state, s) == limited); ++s) {
    double* out = history + s * Stride;
    for (std::size_t row = 0; row < Stride; row += kTogether * kLanesOf<Lanes>) {
      Rows<Lanes, kTogether> even;
      read(even, base + row);
      accumulate(even, rise + row, static_cast<double>(s));
      Rows<Lanes, kTogether> odd{};  // a second set of sums: the adder then need not wait for its own result
      for (std::size_t j = 0; j < Stride; j += 2) {
        accumulate(even, transition + j * Stride + row, state[j]);
        accumulate(odd, transition + (j + 1) * Stride + row, state[j + 1]);
      }
#pragma GCC unroll 16
      for (std::size_t i = 0; i < kTogether; ++i) even[i] += odd[i];
      write(even, out + row);
    }
    state = out;
  }
  return s;
}

template <std::size_t Stride>
void drive_narrow(const StepMatrices& matrices, const double* now, const double* slope, std::size_t inputs,
                  double* base, double* rise) {
  drive_with<Pair, Stride>(matrices, now, slope, inputs, base, rise);
}
template <std::size_t Stride>
std::size_t run_narrow(const double* transition, const double* base, const double* rise, const double* state,
                       double* history, std::size_t first, std::size_t end, const LimitTest* test, bool limited) {
  return run_with<Pair, Stride>(transition, base, rise, state, history, first, end, test, limited);
}

#if HOST_HAS_WIDE
template <std::size_t Stride>
HOST_WIDE void drive_wide(const StepMatrices& matrices, const double* now, const double* slope, std::size_t inputs,
                          double* base, double* rise) {
  drive_with<Quad, Stride>(matrices, now, slope, inputs, base, rise);
}
template <std::size_t Stride>
HOST_WIDE std::size_t run_wide(const double* transition, const double* base, const double* rise, const double* state,
                               double* history, std::size_t first, std::size_t end, const LimitTest* test,
                               bool limited) {
  return run_with<Quad, Stride>(transition, base, rise, state, history, first, end, test, limited);
}
#endif

constexpr std::size_t kStridesMax = 8;

template <std::size_t... Less>
constexpr std::array<Kernels, kStridesMax> narrow_kernels(std::index_sequence<Less...>) {
  return {Kernels{&drive_narrow<(Less + 1) * kLanesMost>, &run_narrow<(Less + 1) * kLanesMost>}...};
}
template <std::size_t... Less>
constexpr std::array<Kernels, kStridesMax> wide_kernels(std::index_sequence<Less...> indices) {
#if HOST_HAS_WIDE
  static_cast<void>(indices);
  return {Kernels{&drive_wide<(Less + 1) * kLanesMost>, &run_wide<(Less + 1) * kLanesMost>}...};
#else
  return narrow_kernels(indices);
#endif
}

}  // namespace

std::size_t kernel_stride(std::size_t states) {
  const std::size_t stride = (states + kLanesMost - 1) / kLanesMost * kLanesMost;
  return stride <= kStridesMax * kLanesMost ? stride : 0;
}

Kernels narrow_kernels_of(std::size_t stride) {
  static constexpr auto kKernels = narrow_kernels(std::make_index_sequence<kStridesMax>());
  return kKernels[stride / kLanesMost - 1];
}

Kernels kernels_of(std::size_t stride) {
  static constexpr auto kKernels = wide_kernels(std::make_index_sequence<kStridesMax>());
  return machine_is_wide() ? kKernels[stride / kLanesMost - 1] : narrow_kernels_of(stride);
}

}  // namespace host::simulate
