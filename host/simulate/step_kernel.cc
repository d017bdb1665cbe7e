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

template <std::size_t kStride>
void step(const double* transition, const double* base, const double* rise, double s, const double* state,
          double* next) {
  constexpr std::size_t kPairs = kStride / 2;
  std::array<Pair, kPairs> sum;
  const Pair steps = {s, s};
  for (std::size_t i = 0; i < kPairs; ++i) sum[i] = load(base + 2 * i) + load(rise + 2 * i) * steps;
  for (std::size_t j = 0; j < kStride; ++j) {
    const Pair factor = {state[j], state[j]};
    const double* column = transition + j * kStride;
#pragma GCC unroll 16
    for (std::size_t i = 0; i < kPairs; ++i) sum[i] += load(column + 2 * i) * factor;
  }
  std::memcpy(next, sum.data(), sizeof(sum));
}

constexpr std::size_t kPairsMax = 16;

template <std::size_t... kPairs>
constexpr std::array<StepKernel, kPairsMax> kernels(std::index_sequence<kPairs...>) {
  return {&step<2 * kPairs + 2>...};
}

}  // namespace

std::size_t kernel_stride(std::size_t states) {
  const std::size_t stride = (states + 1) / 2 * 2;
  return stride <= 2 * kPairsMax ? stride : 0;
}

StepKernel step_kernel(std::size_t stride) {
  static constexpr auto kKernels = kernels(std::make_index_sequence<kPairsMax>());
  return kKernels[stride / 2 - 1];
}

}  // namespace host::simulate
