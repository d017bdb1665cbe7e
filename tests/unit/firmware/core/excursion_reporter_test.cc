// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/excursion_reporter.h"

#include <gtest/gtest.h>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

using testing::events_of;
using testing::JigFixture;
using testing::low_limit;
namespace proto = steadyrail::proto;

proto::Arm armed(const std::vector<proto::ArmedLimit>& limits) {
  proto::Arm arm;
  arm.set_set(5);
  for (const auto& limit : limits) *arm.add_limits() = limit;
  return arm;
}

/// Channel 16 dips to 900 for 2 of every 40 scans, down to 600 + scan / 800.
std::int16_t storm(std::uint64_t scan, std::size_t channel) {
  if (channel != 16 || scan % 40 >= 2) return 1000;
  return static_cast<std::int16_t>(scan % 40 == 0 ? 899 : 600 + scan / 800);
}

TEST(ExcursionReporterTest, TellsEachExcursionWithItsArmedSet) {
  JigFixture jig;
  jig.begin(armed({low_limit(16, 950), low_limit(17, 2000)}));
  jig.play(
      [](std::uint64_t scan, std::size_t channel) {
        return static_cast<std::int16_t>(channel == 16 && scan >= 100 && scan < 142 ? 900 : 2500);
      },
      8);
  const auto events = events_of(jig.heard(), proto::Event::kExcursion);
  ASSERT_EQ(events.size(), 1U);
  const proto::Excursion& excursion = events[0].excursion();
  EXPECT_EQ(excursion.channel(), 16U);
  EXPECT_EQ(excursion.side(), proto::SIDE_LOW);
  EXPECT_EQ(excursion.armed_set(), 5U);
  EXPECT_EQ(excursion.start_scan(), 100U);
  EXPECT_EQ(excursion.end_scan(), 142U);
  EXPECT_EQ(excursion.extreme_code(), 900);
  EXPECT_EQ(excursion.area_code_scans(), 42U * 50);
}

TEST(ExcursionReporterTest, CountsCompletelyWhatAStormHasBeyondTheBudget) {
  JigFixture jig;
  constexpr std::uint32_t kBudget = 20;
  jig.begin(armed({low_limit(16, 950)}), [](auto& configure) { configure.set_events_per_s(kBudget); });
  constexpr std::size_t kBlocks = 3000;  // 3 s: 2,400 excursions
  jig.play(storm, kBlocks);
  jig.stop();
  const auto frames = jig.heard();
  const auto told = events_of(frames, proto::Event::kExcursion);
  EXPECT_LE(told.size(), kBudget * 4);  // a burst of one second, and three seconds
  EXPECT_GE(told.size(), kBudget * 3);
  std::uint64_t excursions = told.size();
  std::uint64_t scans_beyond = 2 * told.size();
  std::int32_t extreme = 32767;
  const auto storms = events_of(frames, proto::Event::kStorm);
  EXPECT_LE(storms.size(), 4U);
  for (const auto& event : storms) {
    excursions += event.storm().excursions();
    scans_beyond += event.storm().scans_beyond();
    extreme = std::min(extreme, event.storm().extreme_code());
    EXPECT_LE(event.storm().first_scan(), event.storm().last_scan());
  }
  EXPECT_EQ(excursions, kBlocks * 32 / 40);
  EXPECT_EQ(scans_beyond, 2 * kBlocks * 32 / 40);
  EXPECT_EQ(extreme, 601);  // the first 20 excursions, the only ones down to 600, were told one by one
  EXPECT_EQ(jig.health().events_dropped, 0U);
}

TEST(ExcursionReporterTest, CountsWhatFindsNoRoomInTheQueueOfADeadLine) {
  JigFixture jig;
  jig.begin(armed({low_limit(16, 950)}), [](auto& configure) { configure.set_events_per_s(1000); });
  jig.play(storm, 3000, 0);
  jig.stop();
  const auto frames = jig.heard();
  std::uint64_t excursions = events_of(frames, proto::Event::kExcursion).size();
  for (const auto& event : events_of(frames, proto::Event::kStorm)) excursions += event.storm().excursions();
  EXPECT_EQ(excursions, 2400U);
  EXPECT_EQ(jig.health().events_dropped, 0U);
}

TEST(ExcursionReporterTest, TruncatesAtAGapAndBeginsAnewBehindIt) {
  JigFixture jig;
  jig.begin(armed({low_limit(16, 950)}));
  const auto low = [](std::uint64_t, std::size_t) { return std::int16_t{900}; };
  jig.play(low, 2);
  jig.lose(100);
  jig.play(low, 1);
  jig.stop();
  const auto events = events_of(jig.heard(), proto::Event::kExcursion);
  ASSERT_EQ(events.size(), 2U);
  EXPECT_EQ(events[0].excursion().end_scan(), 64U);
  EXPECT_TRUE(events[0].excursion().truncated());
  EXPECT_EQ(events[1].excursion().start_scan(), 164U);
  EXPECT_EQ(events[1].excursion().end_scan(), 196U);
  EXPECT_TRUE(events[1].excursion().truncated());
}

}  // namespace
}  // namespace firmware
