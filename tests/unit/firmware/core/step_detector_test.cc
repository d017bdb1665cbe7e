// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/step_detector.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <vector>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

using testing::block_of;
using testing::Random;

constexpr std::uint8_t kChannel = 19;

class Collector : public StepSink {
 public:
  void found(const FoundStep& step) override { steps.push_back(step); }
  std::vector<FoundStep> steps;
};

std::vector<FoundStep> detect(const std::vector<std::int16_t>& codes, std::uint16_t least_code,
                              std::uint64_t first_scan = 0) {
  StepDetector detector;
  Collector collector;
  detector.begin({.channel = kChannel, .least_code = least_code});
  for (std::size_t at = 0; at < codes.size(); at += wire::kScansPerBlock) {
    const ScanBlock block = block_of(first_scan + at, [&](std::uint64_t scan, std::size_t channel) {
      return channel == kChannel ? codes[scan - first_scan] : std::int16_t{0};
    });
    const auto [min, max] = std::minmax_element(codes.begin() + static_cast<std::ptrdiff_t>(at),
                                                codes.begin() + static_cast<std::ptrdiff_t>(at + wire::kScansPerBlock));
    detector.on_block(block, *min, *max, collector);
  }
  return collector.steps;
}

/// The worked example of definition D3 at 600 codes an ampere, so that every figure is a whole code: 5 A, rising to 25
/// A over three scans from scan 1000. Expected figures from an independent NumPy program: 20 A, plateau 999..1001,
/// half-way at 1001.5.
std::vector<std::int16_t> worked_example(std::size_t delay) {
  std::vector<std::int16_t> codes(2048, 3000);
  for (std::size_t n = delay + 1000; n < codes.size(); ++n) {
    const std::size_t into = std::min<std::size_t>(n - delay - 1000, 3);
    codes[n] = static_cast<std::int16_t>(3000 + 4000 * into);
  }
  return codes;
}

TEST(StepDetectorTest, FindsTheWorkedExampleWhereverBlocksBegin) {
  for (std::size_t delay = 0; delay < wire::kScansPerBlock; ++delay) {
    const auto found = detect(worked_example(delay), 600);
    ASSERT_EQ(found.size(), 1U) << "delay " << delay;
    EXPECT_EQ(found[0].channel, kChannel);
    EXPECT_EQ(found[0].scan, delay + 1000);
    EXPECT_EQ(found[0].step_code_16, 20 * 600 * 16);
    EXPECT_EQ(found[0].t50_offset_256, (1001.5 - (1000 - 128)) * 256);
  }
}

TEST(StepDetectorTest, FindsTheFallingEdgeAlikeAndPastTheThirtySecondBit) {
  auto codes = worked_example(0);
  for (std::int16_t& code : codes) code = static_cast<std::int16_t>(18000 - code);
  const auto found = detect(codes, 600, (std::uint64_t{1} << 32) - 992);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].scan, 4294967304U);  // 2^32 + 8
  EXPECT_EQ(found[0].step_code_16, -20 * 600 * 16);
  EXPECT_EQ(found[0].t50_offset_256, 129.5 * 256);
}

TEST(StepDetectorTest, IgnoresWhatIsSmallerThanTheTrigger) {
  EXPECT_TRUE(detect(worked_example(0), 12001).empty());
  EXPECT_EQ(detect(worked_example(0), 12000).size(), 1U);
}

struct Expected {
  std::size_t scan;
  double step;
};

/// Definition D3 over the whole trace at once, in doubles: local maxima of |D| within +-20 where D is defined.
std::vector<Expected> by_definition(const std::vector<std::int16_t>& codes, double least) {
  constexpr std::size_t kN = 16;
  constexpr std::size_t kG = 4;
  constexpr std::size_t kReach = kN + kG;
  const std::size_t last = codes.size() - kG - kN;  // D is defined for n in [16, last]
  std::vector<double> d(codes.size(), 0.0);
  for (std::size_t n = kN; n <= last; ++n) {
    for (std::size_t k = 0; k < kN; ++k) d[n] += (codes[n + kG + k] - codes[n - 1 - k]) / double{kN};
  }
  std::vector<Expected> steps;
  for (std::size_t n = kN; n + kReach <= last; ++n) {
    bool peak = std::abs(d[n]) >= least;
    for (std::size_t k = std::max(kN, n - std::min(n, kReach)); k <= n + kReach && peak; ++k) {
      peak = k < n ? std::abs(d[k]) < std::abs(d[n]) : std::abs(d[k]) <= std::abs(d[n]);
    }
    if (!peak) continue;
    std::size_t plateau_last = n;
    while (plateau_last < n + kReach && d[plateau_last + 1] == d[n]) ++plateau_last;
    steps.push_back({(n + plateau_last) / 2, d[n]});
  }
  return steps;
}

TEST(StepDetectorTest, AgreesWithTheDefinitionOnNoisyLoads) {
  std::size_t compared = 0;
  for (std::uint64_t seed = 1; seed <= 50; ++seed) {
    Random random(seed);
    std::vector<std::int16_t> codes(4096);
    std::int32_t level = 5000;
    for (std::int16_t& out : codes) {
      if (random.next() % 150 == 0) level = random.between(1000, 9000);
      out = static_cast<std::int16_t>(level + random.between(-60, 60));
    }
    const auto expected = by_definition(codes, 200);
    const auto found = detect(codes, 200);
    ASSERT_EQ(found.size(), expected.size()) << "seed " << seed;
    for (std::size_t k = 0; k < found.size(); ++k, ++compared) {
      EXPECT_EQ(found[k].scan, expected[k].scan) << "seed " << seed;
      EXPECT_EQ(found[k].step_code_16, expected[k].step * 16) << "seed " << seed;
    }
  }
  EXPECT_GT(compared, 500U);
}

}  // namespace
}  // namespace firmware
