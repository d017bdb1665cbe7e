// SPDX-License-Identifier: Apache-2.0
// Counting many excursions at once against tracking each: the two ways through a block must agree on any signal.
#include <gtest/gtest.h>

#include <algorithm>
#include <numeric>
#include <optional>
#include <vector>

#include "firmware/core/excursion_tracker.h"
#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

constexpr std::uint8_t kChannel = 3;

/// Tallies either way.
class Tally : public ExcursionSink {
 public:
  explicit Tally(Attention wanted) : wanted_(wanted) {}
  Attention attention(const ScanBlock&) const override { return wanted_; }
  void certain(std::size_t, std::uint64_t start_scan) override { starts.push_back(start_scan); }
  void ended(std::size_t, const TrackedExcursion& excursion) override {
    add(1, excursion.start_scan, excursion.end_scan - 1, excursion.extreme_code, excursion.scans_beyond);
  }
  void counted(std::size_t, const CountedExcursions& counted, bool alike) override {
    EXPECT_EQ(alike, wanted_ == Attention::kCountsAlike);
    add(counted.excursions, counted.first_scan, counted.last_scan, counted.extreme_code, counted.scans_beyond);
    counted_at_once += counted.excursions;
  }

  std::uint64_t excursions = 0;
  std::optional<std::uint64_t> first_scan;
  std::uint64_t last_scan = 0;
  std::int16_t extreme_code = INT16_MAX;
  std::uint64_t scans_beyond = 0;
  std::uint64_t counted_at_once = 0;
  std::vector<std::uint64_t> starts;

 private:
  void add(std::uint32_t count, std::uint64_t first, std::uint64_t last, std::int16_t extreme, std::uint64_t beyond) {
    excursions += count;
    if (!first_scan) first_scan = first;
    last_scan = last;
    extreme_code = std::min(extreme_code, extreme);
    scans_beyond += beyond;
  }

  Attention wanted_;
};

Tally track(Attention wanted, const ArmedLimit& limit, const std::vector<std::int16_t>& codes) {
  Tally tally(wanted);
  ExcursionTracker tracker;
  tracker.arm(0, limit);
  for (std::size_t at = 0; at < codes.size(); at += wire::kScansPerBlock) {
    const auto begin = codes.begin() + static_cast<std::ptrdiff_t>(at);
    const auto end = begin + wire::kScansPerBlock;
    const auto [min, max] = std::minmax_element(begin, end);
    tracker.on_block(
        testing::block_of(at, [&](std::uint64_t scan,
                                  std::size_t channel) { return channel == kChannel ? codes[scan] : std::int16_t{0}; }),
        {.min = *min, .max = *max, .sum = std::accumulate(begin, end, 0)}, tally);
  }
  tracker.close(codes.size(), tally);
  return tally;
}

TEST(ExcursionCountingTest, AgreesWithTrackingEachOnAnySignal) {
  std::uint64_t at_once = 0;
  for (std::uint64_t seed = 1; seed <= 400; ++seed) {
    testing::Random random(seed);
    const ArmedLimit limit{.channel = kChannel,
                           .side = LimitSide::kLow,
                           .code = 0,
                           .release_code = static_cast<std::int16_t>(random.between(0, 3)),
                           .keep_code = random.between(-12, 0),
                           .merge_scans = static_cast<std::uint32_t>(random.between(0, 5)),
                           .least_scans = static_cast<std::uint32_t>(random.between(1, 5))};
    const std::int32_t reach = random.between(4, 30);
    std::vector<std::int16_t> codes(40 * wire::kScansPerBlock);
    for (std::int16_t& code : codes) code = static_cast<std::int16_t>(random.between(-reach, reach));
    const Tally each = track(Attention::kEach, limit, codes);
    for (const Attention wanted : {Attention::kCounts, Attention::kCountsAlike}) {
      const Tally counted = track(wanted, limit, codes);
      at_once += counted.counted_at_once;
      ASSERT_EQ(counted.excursions, each.excursions) << "seed " << seed;
      ASSERT_EQ(counted.first_scan, each.first_scan) << "seed " << seed;
      ASSERT_EQ(counted.last_scan, each.last_scan) << "seed " << seed;
      ASSERT_EQ(counted.extreme_code, each.extreme_code) << "seed " << seed;
      ASSERT_EQ(counted.scans_beyond, each.scans_beyond) << "seed " << seed;
      if (wanted == Attention::kCounts) {
        ASSERT_EQ(counted.starts, each.starts) << "seed " << seed;
      }
    }
  }
  EXPECT_GT(at_once, 10'000U);
}

/// A block wholly beyond the limit is taken by its sums; by hand: 64 scans at depth 50, 32 at 30, 32 at 60.
TEST(ExcursionCountingTest, TakesWholeBlocksBeyondTheLimitByTheirSums) {
  class Last : public ExcursionSink {
   public:
    void certain(std::size_t, std::uint64_t) override {}
    void ended(std::size_t, const TrackedExcursion& excursion) override { last = excursion; }
    TrackedExcursion last;
  } last;
  ExcursionTracker tracker;
  tracker.arm(0, {.channel = kChannel, .side = LimitSide::kLow, .code = 0, .release_code = 0, .least_scans = 1});
  std::uint64_t scan = 0;
  for (const std::int16_t code : {-50, -50, -30, -60, 10}) {
    tracker.on_block(testing::block_of(scan, [&](std::uint64_t, std::size_t) { return code; }),
                     {.min = code, .max = code, .sum = 32 * code}, last);
    scan += wire::kScansPerBlock;
  }
  EXPECT_EQ(last.last.start_scan, 0U);
  EXPECT_EQ(last.last.end_scan, 128U);
  EXPECT_EQ(last.last.area_code_scans, 64U * 50 + 32 * 30 + 32 * 60);
  EXPECT_EQ(last.last.scans_beyond, 128U);
  EXPECT_EQ(last.last.extreme_code, -60);
  EXPECT_EQ(last.last.extreme_scan, 96U);
}

}  // namespace
}  // namespace firmware
