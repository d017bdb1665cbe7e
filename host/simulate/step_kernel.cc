// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/step_kernel.h"

#include <array>
#include <cstring>
#include <utility>

namespace host::simulate {
namespace {

using Pair = double __attribute__((vector_size(16)));  // two lanes on every machine: same sums, same order

Pair load(const double* from) {
  Pair pair;
  std::memcpy(&pair, from, sizeof(pair));
  return pair;
}

template <std::size_t kPairs>
using Row = std::array<Pair, kPairs>;

/// sum += column * factor
template <std::size_t kPairs>
void accumulate(Row<kPairs>& sum, const double* column, double factor) {
  const Pair both = {factor, factor};
#pragma GCC unroll 16
  for (std::size_t i = 0; i < kPairs; ++i) sum[i] += load(column + 2 * i) * both;
}

template <std::size_t kPairs>
void drive(const StepMatrices& matrices, const double* now, const double* slope, std::size_t inputs, double* base,
           double* rise) {
  constexpr std::size_t kStride = 2 * kPairs;
  Row<kPairs> sum{};
  for (std::size_t j = 0; j < inputs; ++j) accumulate<kPairs>(sum, matrices.held + j * kStride, now[j]);
  Row<kPairs> slopes{};
  for (std::size_t j = 0; j < inputs; ++j) {
    if (slope[j] == 0) continue;  // adds nothing; most inputs stand still
    accumulate<kPairs>(sum, matrices.ahead + j * kStride, slope[j]);
    accumulate<kPairs>(slopes, matrices.held + j * kStride, slope[j]);
  }
  std::memcpy(base, sum.data(), sizeof(sum));
  std::memcpy(rise, slopes.data(), sizeof(slopes));
}

template <std::size_t kPairs>
std::size_t run(const double* transition, const double* base, const double* rise, const double* state, double* history,
                std::size_t first, std::size_t end, const LimitTest* test, bool limited) {
  constexpr std::size_t kStride = 2 * kPairs;
  std::size_t s = first;
  for (; s < end && (test == nullptr || (*test)(state, s) == limited); ++s) {
    Row<kPairs> sum;
    const Pair steps = {static_cast<double>(s), static_cast<double>(s)};
#pragma GCC unroll 16
    for (std::size_t i = 0; i < kPairs; ++i) sum[i] = load(base + 2 * i) + load(rise + 2 * i) * steps;
    if constexpr (kPairs <= 6) {
      // Few enough for two sets of sums in registers: the adder then need not wait for itself.
      Row<kPairs> odd{};
      for (std::size_t j = 0; j < kStride; j += 2) {
        accumulate<kPairs>(sum, transition + j * kStride, state[j]);
        accumulate<kPairs>(odd, transition + (j + 1) * kStride, state[j + 1]);
      }
#pragma GCC unroll 16
      for (std::size_t i = 0; i < kPairs; ++i) sum[i] += odd[i];
    } else {
      for (std::size_t j = 0; j < kStride; ++j) accumulate<kPairs>(sum, transition + j * kStride, state[j]);
    }
    double* out = history + s * kStride;
    std::memcpy(out, sum.data(), sizeof(sum));
    state = out;
  }
  return s;
}

constexpr std::size_t kPairsMax = 16;

template <std::size_t... kLess>
constexpr std::array<Kernels, kPairsMax> all_kernels(std::index_sequence<kLess...>) {
  return {Kernels{&drive<kLess + 1>, &run<kLess + 1>}...};
}

}  // namespace

std::size_t kernel_stride(std::size_t states) {
  const std::size_t stride = (states + 1) / 2 * 2;
  return stride <= 2 * kPairsMax ? stride : 0;
}

Kernels kernels_of(std::size_t stride) {
  static constexpr auto kKernels = all_kernels(std::make_index_sequence<kPairsMax>());
  return kKernels[stride / 2 - 1];
}

}  // namespace host::simulate
