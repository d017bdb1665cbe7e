// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/step_kernel.h"

#include <gtest/gtest.h>

#include <vector>

#include "host/simulate/random.h"

namespace host::simulate {
namespace {

std::vector<double> numbers(Random& random, std::size_t count) {
  std::vector<double> values(count);
  for (double& value : values) value = random.uniform(-1, 1);
  return values;
}

// Whatever width the machine offers, the bits are those of a plain loop that adds even and odd columns apart.
void expect_bits_of_a_plain_loop(Kernels (*kernels)(std::size_t)) {
  for (std::size_t states = 1; states <= 32; ++states) {
    const std::size_t stride = kernel_stride(states);
    ASSERT_GE(stride, states);
    Random random(states, 0);
    const std::vector<double> transition = numbers(random, stride * stride);
    const std::vector<double> base = numbers(random, stride);
    const std::vector<double> rise = numbers(random, stride);
    const std::vector<double> state = numbers(random, stride);
    std::vector<double> history(4 * stride);
    ASSERT_EQ(kernels(stride).run(transition.data(), base.data(), rise.data(), state.data(), history.data(), 0, 4,
                                  nullptr, false),
              4u);
    std::vector<double> x = state;
    for (std::size_t s = 0; s < 4; ++s) {
      std::vector<double> next(stride);
      for (std::size_t i = 0; i < stride; ++i) {
        double even = base[i] + rise[i] * static_cast<double>(s);
        double odd = 0;
        for (std::size_t j = 0; j < stride; j += 2) {
          even += transition[j * stride + i] * x[j];
          odd += transition[(j + 1) * stride + i] * x[j + 1];
        }
        next[i] = even + odd;
        ASSERT_EQ(history[s * stride + i], next[i]) << states << " states, step " << s << ", row " << i;
      }
      x = next;
    }
  }
}

TEST(StepKernelTest, WidestGivesTheBitsOfAPlainLoop) {
  expect_bits_of_a_plain_loop(kernels_of);
}
TEST(StepKernelTest, NarrowGivesTheBitsOfAPlainLoop) {
  expect_bits_of_a_plain_loop(narrow_kernels_of);
}

TEST(StepKernelTest, StopsWhereTheLimitTestTurns) {
  const std::size_t stride = kernel_stride(4);
  std::vector<double> transition(stride * stride);
  for (std::size_t i = 0; i < stride; ++i) transition[i * stride + i] = 1;
  std::vector<double> base(stride, 1.0);  // every state counts the steps
  std::vector<double> rise(stride);
  std::vector<double> state(stride);
  std::vector<double> history(8 * stride);
  const LimitTest test{.gain = 1, .pole = 0, .integrator = 1, .limit = 5, .limit_rise = 0};  // 2 s > 5 from s = 3
  EXPECT_EQ(kernels_of(stride).run(transition.data(), base.data(), rise.data(), state.data(), history.data(), 0, 8,
                                   &test, false),
            3u);
}

}  // namespace
}  // namespace host::simulate
