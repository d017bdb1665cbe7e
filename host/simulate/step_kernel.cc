// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/step_kernel.h"

#include <array>
#include <utility>

#include "host/simulate/lanes.h"

namespace host::simulate {
namespace {

template <typename Lanes, std::size_t kCount>
using Rows = std::array<Lanes, kCount>;

// Vector by vector: copied as a whole, rows pass through memory in pieces and the next step waits for them.
template <typename Lanes, std::size_t kCount>
[[gnu::always_inline]] inline void read(Rows<Lanes, kCount>& rows, const double* from) {
#pragma GCC unroll 16
  for (std::size_t i = 0; i < kCount; ++i) read_lanes(rows[i], from + i * kLanesOf<Lanes>);
}
template <typename Lanes, std::size_t kCount>
[[gnu::always_inline]] inline void write(const Rows<Lanes, kCount>& rows, double* to) {
#pragma GCC unroll 16
  for (std::size_t i = 0; i < kCount; ++i) write_lanes(rows[i], to + i * kLanesOf<Lanes>);
}

/// sum += column * factor
template <typename Lanes, std::size_t kCount>
[[gnu::always_inline]] inline void accumulate(Rows<Lanes, kCount>& sum, const double* column, double factor) {
#pragma GCC unroll 16
  for (std::size_t i = 0; i < kCount; ++i) {
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

template <typename Lanes, std::size_t kStride>
[[gnu::always_inline]] inline void drive_with(const StepMatrices& matrices, const double* now, const double* slope,
                                              std::size_t inputs, double* base, double* rise) {
  constexpr std::size_t kTogether = rows_together(kStride / kLanesOf<Lanes>);
  for (std::size_t row = 0; row < kStride; row += kTogether * kLanesOf<Lanes>) {
    Rows<Lanes, kTogether> sum{};
    Rows<Lanes, kTogether> slopes{};
    for (std::size_t j = 0; j < inputs; ++j) accumulate(sum, matrices.held + j * kStride + row, now[j]);
    for (std::size_t j = 0; j < inputs; ++j) {
      if (slope[j] == 0) continue;  // adds nothing; most inputs stand still
      accumulate(sum, matrices.ahead + j * kStride + row, slope[j]);
      accumulate(slopes, matrices.held + j * kStride + row, slope[j]);
    }
    write(sum, base + row);
    write(slopes, rise + row);
  }
}

template <typename Lanes, std::size_t kStride>
[[gnu::always_inline]] inline std::size_t run_with(const double* transition, const double* base, const double* rise,
                                                   const double* state, double* history, std::size_t first,
                                                   std::size_t end, const LimitTest* test, bool limited) {
  constexpr std::size_t kTogether = rows_together(kStride / kLanesOf<Lanes>);
  std::size_t s = first;
  for (; s < end && (test == nullptr || (*test)(state, s) == limited); ++s) {
    double* out = history + s * kStride;
    for (std::size_t row = 0; row < kStride; row += kTogether * kLanesOf<Lanes>) {
      Rows<Lanes, kTogether> even;
      read(even, base + row);
      accumulate(even, rise + row, static_cast<double>(s));
      Rows<Lanes, kTogether> odd{};  // a second set of sums: the adder then need not wait for its own result
      for (std::size_t j = 0; j < kStride; j += 2) {
        accumulate(even, transition + j * kStride + row, state[j]);
        accumulate(odd, transition + (j + 1) * kStride + row, state[j + 1]);
      }
#pragma GCC unroll 16
      for (std::size_t i = 0; i < kTogether; ++i) even[i] += odd[i];
      write(even, out + row);
    }
    state = out;
  }
  return s;
}

template <std::size_t kStride>
void drive_narrow(const StepMatrices& matrices, const double* now, const double* slope, std::size_t inputs,
                  double* base, double* rise) {
  drive_with<Pair, kStride>(matrices, now, slope, inputs, base, rise);
}
template <std::size_t kStride>
std::size_t run_narrow(const double* transition, const double* base, const double* rise, const double* state,
                       double* history, std::size_t first, std::size_t end, const LimitTest* test, bool limited) {
  return run_with<Pair, kStride>(transition, base, rise, state, history, first, end, test, limited);
}

#if HOST_HAS_WIDE
template <std::size_t kStride>
HOST_WIDE void drive_wide(const StepMatrices& matrices, const double* now, const double* slope, std::size_t inputs,
                          double* base, double* rise) {
  drive_with<Quad, kStride>(matrices, now, slope, inputs, base, rise);
}
template <std::size_t kStride>
HOST_WIDE std::size_t run_wide(const double* transition, const double* base, const double* rise, const double* state,
                               double* history, std::size_t first, std::size_t end, const LimitTest* test,
                               bool limited) {
  return run_with<Quad, kStride>(transition, base, rise, state, history, first, end, test, limited);
}
#endif

constexpr std::size_t kStridesMax = 8;

template <std::size_t... kLess>
constexpr std::array<Kernels, kStridesMax> narrow_kernels(std::index_sequence<kLess...>) {
  return {Kernels{&drive_narrow<(kLess + 1) * kLanesMost>, &run_narrow<(kLess + 1) * kLanesMost>}...};
}
template <std::size_t... kLess>
constexpr std::array<Kernels, kStridesMax> wide_kernels(std::index_sequence<kLess...> indices) {
#if HOST_HAS_WIDE
  static_cast<void>(indices);
  return {Kernels{&drive_wide<(kLess + 1) * kLanesMost>, &run_wide<(kLess + 1) * kLanesMost>}...};
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
