// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/step_kernel.h"

#include <array>
#include <utility>

#include "host/simulate/quad.h"
#include "host/simulate/wide.h"

namespace host::simulate {
namespace {

template <std::size_t kQuads>
using Row = std::array<Quad, kQuads>;

// Quad by quad: copied as a whole, a row passes through memory in pieces and the next step waits for them.
template <std::size_t kQuads>
[[gnu::always_inline]] inline void read(Row<kQuads>& row, const double* from) {
#pragma GCC unroll 16
  for (std::size_t i = 0; i < kQuads; ++i) read_quad(row[i], from + kLanes * i);
}
template <std::size_t kQuads>
[[gnu::always_inline]] inline void write(const Row<kQuads>& row, double* to) {
#pragma GCC unroll 16
  for (std::size_t i = 0; i < kQuads; ++i) write_quad(row[i], to + kLanes * i);
}

/// sum += column * factor
template <std::size_t kQuads>
[[gnu::always_inline]] inline void accumulate(Row<kQuads>& sum, const double* column, double factor) {
  const Quad all = {factor, factor, factor, factor};
#pragma GCC unroll 16
  for (std::size_t i = 0; i < kQuads; ++i) {
    Quad part;
    read_quad(part, column + kLanes * i);
    sum[i] += part * all;
  }
}

template <std::size_t kQuads>
HOST_WIDE void drive(const StepMatrices& matrices, const double* now, const double* slope, std::size_t inputs,
                     double* base, double* rise) {
  constexpr std::size_t kStride = kLanes * kQuads;
  Row<kQuads> sum{};
  for (std::size_t j = 0; j < inputs; ++j) accumulate<kQuads>(sum, matrices.held + j * kStride, now[j]);
  Row<kQuads> slopes{};
  for (std::size_t j = 0; j < inputs; ++j) {
    if (slope[j] == 0) continue;  // adds nothing; most inputs stand still
    accumulate<kQuads>(sum, matrices.ahead + j * kStride, slope[j]);
    accumulate<kQuads>(slopes, matrices.held + j * kStride, slope[j]);
  }
  write<kQuads>(sum, base);
  write<kQuads>(slopes, rise);
}

template <std::size_t kQuads>
HOST_WIDE std::size_t run(const double* transition, const double* base, const double* rise, const double* state,
                          double* history, std::size_t first, std::size_t end, const LimitTest* test, bool limited) {
  constexpr std::size_t kStride = kLanes * kQuads;
  std::size_t s = first;
  for (; s < end && (test == nullptr || (*test)(state, s) == limited); ++s) {
    Row<kQuads> even;
    read<kQuads>(even, base);
    accumulate<kQuads>(even, rise, static_cast<double>(s));
    Row<kQuads> odd{};  // a second set of sums: the adder then need not wait for its own result
    for (std::size_t j = 0; j < kStride; j += 2) {
      accumulate<kQuads>(even, transition + j * kStride, state[j]);
      accumulate<kQuads>(odd, transition + (j + 1) * kStride, state[j + 1]);
    }
#pragma GCC unroll 16
    for (std::size_t i = 0; i < kQuads; ++i) even[i] += odd[i];
    double* out = history + s * kStride;
    write<kQuads>(even, out);
    state = out;
  }
  return s;
}

constexpr std::size_t kQuadsMax = 8;

template <std::size_t... kLess>
constexpr std::array<Kernels, kQuadsMax> all_kernels(std::index_sequence<kLess...>) {
  return {Kernels{&drive<kLess + 1>, &run<kLess + 1>}...};
}

}  // namespace

std::size_t kernel_stride(std::size_t states) {
  const std::size_t stride = (states + kLanes - 1) / kLanes * kLanes;
  return stride <= kLanes * kQuadsMax ? stride : 0;
}

Kernels kernels_of(std::size_t stride) {
  static constexpr auto kKernels = all_kernels(std::make_index_sequence<kQuadsMax>());
  return kKernels[stride / kLanes - 1];
}

}  // namespace host::simulate
