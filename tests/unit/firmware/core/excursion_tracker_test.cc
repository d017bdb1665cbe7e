// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/excursion_tracker.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <numeric>
#include <vector>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

using testing::block_of;
using testing::Random;

constexpr std::uint8_t kChannel = 16;

class Collector : public ExcursionSink {
 public:
  void certain(std::size_t, std::uint64_t start_scan) override { certain_starts.push_back(start_scan); }
  void ended(std::size_t, const TrackedExcursion& excursion) override { excursions.push_back(excursion); }

  std::vector<TrackedExcursion> excursions;
  std::vector<std::uint64_t> certain_starts;
};

/// Plays `codes` (a multiple of 32) from `first_scan`, as the acquisition does, and closes.
Collector track(const ArmedLimit& limit, const std::vector<std::int16_t>& codes, std::uint64_t first_scan = 0) {
  ExcursionTracker tracker;
  Collector collector;
  tracker.arm(0, limit);
  for (std::size_t at = 0; at < codes.size(); at += wire::kScansPerBlock) {
    const auto begin = codes.begin() + at;
    const auto end = begin + wire::kScansPerBlock;
    const auto [min, max] = std::minmax_element(begin, end);
    const ScanBlock block = block_of(first_scan + at, [&](std::uint64_t scan, std::size_t channel) {
      return channel == kChannel ? codes[scan - first_scan] : std::int16_t{0};
    });
    tracker.on_block(block, {.min = *min, .max = *max, .sum = std::accumulate(begin, end, 0)}, collector);
  }
  tracker.close(first_scan + codes.size(), collector);
  return collector;
}

void fill(std::vector<std::int16_t>& codes, std::size_t from, std::size_t to, std::int16_t code) {
  std::fill(codes.begin() + from, codes.begin() + to, code);
}

/// The worked example of definition D1, 10 mV a code: limit 11.40 V, hysteresis 30 mV, merge gap 16, least 4 scans.
/// Expected figures from an independent NumPy program over the same signal: [1000,1130) 11.30 V at 1000, 0.255 mV s;
/// [3000,3004) 11.39 V, 0.00125 mV s; [2000,2003) dropped. In code scans: 0.255e-3 * 32000 / 0.01 = 816, and 4.
std::vector<std::int16_t> worked_example(std::size_t delay) {
  std::vector<std::int16_t> codes(4032 + 32, 1200);
  fill(codes, delay + 1000, delay + 1064, 1130);
  fill(codes, delay + 1064, delay + 1080, 1142);  // does not release: below 11.43 V
  fill(codes, delay + 1080, delay + 1112, 1135);
  fill(codes, delay + 1112, delay + 1122, 1150);  // released for 10 scans: merged
  fill(codes, delay + 1122, delay + 1130, 1138);
  fill(codes, delay + 2000, delay + 2003, 1120);
  fill(codes, delay + 3000, delay + 3004, 1139);
  return codes;
}

constexpr ArmedLimit kWorkedLimit{.channel = kChannel,
                                  .side = LimitSide::kLow,
                                  .code = 1140,
                                  .release_code = 1143,
                                  .keep_code = 0,
                                  .merge_scans = 16,
                                  .least_scans = 4};

TEST(ExcursionTrackerTest, FindsTheWorkedExampleWhereverBlocksBegin) {
  for (std::size_t delay = 0; delay < wire::kScansPerBlock; ++delay) {
    const auto found = track(kWorkedLimit, worked_example(delay)).excursions;
    ASSERT_EQ(found.size(), 2U) << "delay " << delay;
    EXPECT_EQ(found[0].start_scan, delay + 1000);
    EXPECT_EQ(found[0].end_scan, delay + 1130);
    EXPECT_EQ(found[0].extreme_code, 1130);
    EXPECT_EQ(found[0].extreme_scan, delay + 1000);
    EXPECT_EQ(found[0].area_code_scans, 816U);
    EXPECT_FALSE(found[0].truncated);
    EXPECT_EQ(found[1].start_scan, delay + 3000);
    EXPECT_EQ(found[1].end_scan, delay + 3004);
    EXPECT_EQ(found[1].extreme_code, 1139);
    EXPECT_EQ(found[1].area_code_scans, 4U);
  }
}

TEST(ExcursionTrackerTest, MirrorsTheHighSide) {
  ArmedLimit limit = kWorkedLimit;
  limit.side = LimitSide::kHigh;
  limit.code = -1140;
  limit.release_code = -1143;
  auto codes = worked_example(5);
  for (std::int16_t& code : codes) code = static_cast<std::int16_t>(-code);
  const auto found = track(limit, codes).excursions;
  ASSERT_EQ(found.size(), 2U);
  EXPECT_EQ(found[0].start_scan, 1005U);
  EXPECT_EQ(found[0].extreme_code, -1130);
  EXPECT_EQ(found[0].area_code_scans, 816U);
}

TEST(ExcursionTrackerTest, CountsScansPastTheThirtySecondBit) {
  constexpr std::uint64_t kFirst = (std::uint64_t{1} << 32) - 1024;
  const auto found = track(kWorkedLimit, worked_example(0), kFirst).excursions;
  ASSERT_EQ(found.size(), 2U);
  EXPECT_EQ(found[0].start_scan, 4294967272U);  // 2^32 - 24: begins before, ends after
  EXPECT_EQ(found[0].end_scan, 4294967402U);
  EXPECT_EQ(found[1].start_scan, 4294969272U);
}

TEST(ExcursionTrackerTest, KeepsAShortOneThatIsDeepAndDropsAShallowOne) {
  ArmedLimit limit = kWorkedLimit;
  limit.keep_code = 1100;
  std::vector<std::int16_t> codes(320, 1200);
  codes[100] = 1101;  // one scan, one code short of being kept
  codes[200] = 1100;
  const Collector collector = track(limit, codes);
  ASSERT_EQ(collector.excursions.size(), 1U);
  EXPECT_EQ(collector.excursions[0].start_scan, 200U);
  EXPECT_EQ(collector.excursions[0].end_scan, 201U);
  EXPECT_EQ(collector.certain_starts, std::vector<std::uint64_t>{200});
}

TEST(ExcursionTrackerTest, TruncatesWhatIsOpenAtTheEndHoweverShort) {
  std::vector<std::int16_t> codes(64, 1200);
  codes[63] = 1100;
  const auto found = track(kWorkedLimit, codes).excursions;
  ASSERT_EQ(found.size(), 1U);
  EXPECT_TRUE(found[0].truncated);
  EXPECT_EQ(found[0].end_scan, 64U);
}

TEST(ExcursionTrackerTest, KeepsTheFirstOfEqualExtremes) {
  std::vector<std::int16_t> codes(64, 1200);
  for (const std::size_t at : {10, 11, 12, 13, 14}) codes[at] = 1139;
  codes[11] = codes[13] = 1120;
  const auto found = track(kWorkedLimit, codes).excursions;
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].extreme_scan, 11U);
}

/// Definition D1 over the whole trace at once: list, merge, drop.
std::vector<TrackedExcursion> by_definition(const ArmedLimit& limit, const std::vector<std::int16_t>& codes) {
  std::vector<TrackedExcursion> listed;
  bool inside = false;
  for (std::size_t n = 0; n < codes.size(); ++n) {
    if (!inside && codes[n] < limit.code) {
      listed.push_back({.start_scan = n, .extreme_code = codes[n], .extreme_scan = n});
      inside = true;
    } else if (inside && codes[n] >= limit.release_code) {
      listed.back().end_scan = n;
      inside = false;
    } else if (inside && codes[n] < listed.back().extreme_code) {
      listed.back().extreme_code = codes[n];
      listed.back().extreme_scan = n;
    }
  }
  if (inside) {
    listed.back().end_scan = codes.size();
    listed.back().truncated = true;
  }
  std::vector<TrackedExcursion> merged;
  for (const TrackedExcursion& next : listed) {
    if (merged.empty() || next.start_scan - merged.back().end_scan > limit.merge_scans) {
      merged.push_back(next);
      continue;
    }
    TrackedExcursion& last = merged.back();
    if (next.extreme_code < last.extreme_code) {
      last.extreme_code = next.extreme_code;
      last.extreme_scan = next.extreme_scan;
    }
    last.end_scan = next.end_scan;
    last.truncated = next.truncated;
  }
  std::vector<TrackedExcursion> kept;
  for (TrackedExcursion event : merged) {
    if (event.end_scan - event.start_scan < limit.least_scans && event.extreme_code > limit.keep_code &&
        !event.truncated) {
      continue;
    }
    for (std::uint64_t n = event.start_scan; n < event.end_scan; ++n) {
      event.area_code_scans += static_cast<std::uint64_t>(std::max(limit.code - codes[n], 0));
    }
    kept.push_back(event);
  }
  return kept;
}

TEST(ExcursionTrackerTest, AgreesWithTheDefinitionOnSignalsThatLingerAtTheLimit) {
  std::size_t compared = 0;
  for (std::uint64_t seed = 1; seed <= 200; ++seed) {
    Random random(seed);
    ArmedLimit limit = kWorkedLimit;
    limit.merge_scans = static_cast<std::uint32_t>(random.between(0, 40));
    limit.least_scans = static_cast<std::uint32_t>(random.between(1, 6));
    limit.keep_code = random.between(1125, 1135);
    std::vector<std::int16_t> codes(2048);
    std::int32_t code = 1150;
    for (std::int16_t& out : codes) {
      code = std::clamp(code + random.between(-6, 6), 1120, 1165);
      out = static_cast<std::int16_t>(code);
    }
    const auto expected = by_definition(limit, codes);
    const auto found = track(limit, codes).excursions;
    ASSERT_EQ(found.size(), expected.size()) << "seed " << seed;
    for (std::size_t k = 0; k < found.size(); ++k, ++compared) {
      EXPECT_EQ(found[k].start_scan, expected[k].start_scan) << "seed " << seed;
      EXPECT_EQ(found[k].end_scan, expected[k].end_scan) << "seed " << seed;
      EXPECT_EQ(found[k].extreme_code, expected[k].extreme_code) << "seed " << seed;
      EXPECT_EQ(found[k].extreme_scan, expected[k].extreme_scan) << "seed " << seed;
      EXPECT_EQ(found[k].area_code_scans, expected[k].area_code_scans) << "seed " << seed;
      EXPECT_EQ(found[k].truncated, expected[k].truncated) << "seed " << seed;
    }
  }
  EXPECT_GT(compared, 1000U);
}

}  // namespace
}  // namespace firmware
