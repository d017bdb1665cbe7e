// SPDX-License-Identifier: Apache-2.0
// That every step of a run has the same chance: Pearson's chi-square of the numbers drawn against equal counts.
// Critical values: NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.4, upper tail 0.001.
#include "firmware/core/step_sampler.h"

#include <gtest/gtest.h>

#include <numeric>
#include <vector>

namespace firmware {
namespace {

constexpr std::uint32_t kSeed = 0x5EED0001;

/// A sampler whose runs are `run` long: the second before had three times as many steps.
StepSampler with_runs(std::uint32_t run, std::uint32_t seed = kSeed) {
  StepSampler sampler;
  sampler.begin(seed);
  for (std::uint32_t k = 0; k < run * kStepsDrawnPerSecond; ++k) sampler.take();
  sampler.end_second();
  return sampler;
}

/// How often each number of a run was drawn.
std::vector<std::uint32_t> drawn_by_number(std::uint32_t run, std::uint32_t runs) {
  StepSampler sampler = with_runs(run);
  std::vector<std::uint32_t> counts(run);
  for (std::uint32_t k = 0; k < runs * run; ++k) {
    const std::uint32_t one_of = sampler.take();
    if (one_of == 0) continue;
    EXPECT_EQ(one_of, run);
    ++counts[k % run];
  }
  return counts;
}

double chi_square(const std::vector<std::uint32_t>& counts) {
  const double expected = std::accumulate(counts.begin(), counts.end(), 0.0) / static_cast<double>(counts.size());
  double sum = 0;
  for (const std::uint32_t count : counts) sum += (count - expected) * (count - expected) / expected;
  return sum;
}

struct Case {
  std::uint32_t run;
  double critical;  // of run - 1 degrees of freedom
};

class StepSamplerTest : public testing::TestWithParam<Case> {};

TEST_P(StepSamplerTest, DrawsEveryNumberOfARunAlikeAndOneInEach) {
  constexpr std::uint32_t kRuns = 20'000;
  const auto counts = drawn_by_number(GetParam().run, kRuns);
  EXPECT_EQ(std::accumulate(counts.begin(), counts.end(), 0U), kRuns);
  EXPECT_LT(chi_square(counts), GetParam().critical);
}

INSTANTIATE_TEST_SUITE_P(Runs, StepSamplerTest,
                         testing::Values(Case{2, 10.828}, Case{5, 18.467}, Case{8, 24.322}, Case{21, 45.315},
                                         Case{101, 149.449}));

// Which numbers are drawn one after the other: a load that repeats in step with the runs would else be seen at some of
// its phases only. 64 pairs, 63 degrees of freedom.
TEST(StepSamplerTest, DrawsPairsOfRunsAlike) {
  StepSampler sampler = with_runs(8);
  std::vector<std::uint32_t> counts(64);
  std::uint32_t before = 0;
  for (std::uint32_t run = 0; run < 40'000; ++run) {
    std::uint32_t number = 0;
    for (std::uint32_t k = 0; k < 8; ++k) {
      if (sampler.take() != 0) number = k;
    }
    if (run % 2 == 1) ++counts[before * 8 + number];
    before = number;
  }
  EXPECT_LT(chi_square(counts), 103.442);
}

TEST(StepSamplerTest, DrawsAllThatAreFewAndAboutThreeASecondOfMany) {
  StepSampler sampler = with_runs(1);
  for (int k = 0; k < 3; ++k) EXPECT_EQ(sampler.take(), 1U);
  sampler.end_second();
  for (const std::uint32_t rate : {4U, 30U, 800U}) {
    for (std::uint32_t second = 0; second < 2; ++second) {
      for (std::uint32_t k = 0; k < rate; ++k) sampler.take();
      EXPECT_EQ(sampler.seen(), rate);
      if (second == 1) {
        EXPECT_GE(sampler.drawn(), 2U) << rate;
        EXPECT_LE(sampler.drawn(), 3U) << rate;
      }
      sampler.end_second();
    }
  }
}

TEST(StepSamplerTest, DrawsTheSameOfTheSameSeedOnly) {
  StepSampler first = with_runs(100);
  StepSampler again = with_runs(100);
  StepSampler other = with_runs(100, kSeed + 1);
  std::uint32_t differ = 0;
  for (int k = 0; k < 10'000; ++k) {
    const std::uint32_t drawn = first.take();
    ASSERT_EQ(drawn, again.take());
    differ += drawn != other.take() ? 1 : 0;
  }
  EXPECT_GT(differ, 100U);
}

}  // namespace
}  // namespace firmware
