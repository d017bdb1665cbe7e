// SPDX-License-Identifier: Apache-2.0
#include "host/decode/mark_book.h"

#include <gtest/gtest.h>

namespace host::decode {
namespace {

using std::chrono::microseconds;

constexpr double kRate = 32'000;
constexpr std::uint64_t kBeganUs = 1'767'225'600'000'000;  // 2026-01-01T00:00:00Z

/// A clock without error: scan 0 at kBeganUs, a time mark every quarter of a second for 10 s.
ClockFit exact(std::uint64_t first_scan = 0, std::uint64_t began_us = kBeganUs) {
  ClockFit clock(kRate);
  for (std::uint64_t i = 0; i < 40; ++i) {
    clock.add(first_scan + i * 8000, model::HostTime{microseconds(began_us + i * 250'000)});
  }
  return clock;
}

steadyrail::proto::Mark mark(double from_s, double to_s) {
  steadyrail::proto::Mark out;
  out.set_from_utc_us(kBeganUs + static_cast<std::uint64_t>(from_s * 1e6));
  out.set_to_utc_us(kBeganUs + static_cast<std::uint64_t>(to_s * 1e6));
  out.set_source("key");
  out.set_lock_up(true);
  return out;
}

TEST(MarkBookTest, PlacesAHostsIntervalByTheClockFit) {
  MarkBook book;
  book.note(mark(4, 5));
  const auto placed = book.placed(exact(), kRate);
  ASSERT_EQ(placed.size(), 1U);
  EXPECT_TRUE(placed[0].placed());
  EXPECT_LE(placed[0].from_s(), 4);
  EXPECT_GE(placed[0].to_s(), 5);
  EXPECT_NEAR(placed[0].from_s(), 4, 5e-3);
  EXPECT_NEAR(placed[0].to_s(), 5, 5e-3);
}

TEST(MarkBookTest, AButtonStandsAtItsScanLessTheHandsDelay) {
  MarkBook book;
  book.button(96'000);
  const auto placed = book.placed(ClockFit(kRate), kRate);
  EXPECT_EQ(placed[0].to_s(), 3);
  EXPECT_EQ(placed[0].from_s(), 1);
  EXPECT_EQ(placed[0].source(), "button");
}

TEST(MarkBookTest, ARestartKeepsEarlierMarksOnTheirOwnClock) {
  MarkBook book;
  book.note(mark(4, 5));
  book.stretch_ended(exact());
  book.note(mark(104, 105));
  // The second boot's scans run from session scan 4,000,000 on, 100 s after the first boot began.
  const auto placed = book.placed(exact(4'000'000, kBeganUs + 100'000'000), kRate);
  ASSERT_EQ(placed.size(), 2U);
  EXPECT_NEAR(placed[0].from_s(), 4, 5e-3);
  EXPECT_NEAR(placed[1].from_s(), 125 + 4, 5e-3);
}

TEST(MarkBookTest, WithoutAClockAMarkIsToldUnplaced) {
  MarkBook book;
  book.note(mark(4, 5));
  EXPECT_FALSE(book.placed(ClockFit(kRate), kRate)[0].placed());
}

steadyrail::proto::HeartbeatSilence silence(std::uint32_t number, steadyrail::proto::SilenceEnd end) {
  steadyrail::proto::HeartbeatSilence out;
  out.set_number(number);
  out.set_from_utc_us(kBeganUs + 4'000'000);
  out.set_to_utc_us(kBeganUs + 5'100'000);
  out.set_end(end);
  return out;
}

TEST(MarkBookTest, ALaterNoteOfASilenceReplacesTheEarlierOne) {
  using namespace steadyrail::proto;
  MarkBook book;
  book.silence(silence(1, SILENCE_END_LASTS));
  book.silence(silence(2, SILENCE_END_LASTS));
  auto placed = book.placed(exact(), kRate);
  ASSERT_EQ(placed.size(), 2U);
  EXPECT_TRUE(placed[0].lock_up() && placed[1].lock_up());
  EXPECT_NEAR(placed[0].from_s(), 4, 5e-3);
  EXPECT_NEAR(placed[0].to_s(), 5.1, 5e-3);
  book.silence(silence(1, SILENCE_END_NETWORK));
  book.silence(silence(2, SILENCE_END_NEW_RUN));
  placed = book.placed(exact(), kRate);
  ASSERT_EQ(placed.size(), 2U);
  EXPECT_FALSE(placed[0].lock_up()) << "the network's";
  EXPECT_TRUE(placed[1].lock_up());
}

TEST(MarkBookTest, ASilenceThatEndsAfterARestartOfTheJigKeepsItsPlace) {
  using namespace steadyrail::proto;
  MarkBook book;
  book.silence(silence(1, SILENCE_END_LASTS));
  book.stretch_ended(exact());
  book.silence(silence(1, SILENCE_END_NEW_RUN));
  const auto placed = book.placed(exact(4'000'000, kBeganUs + 100'000'000), kRate);
  ASSERT_EQ(placed.size(), 1U);
  EXPECT_NEAR(placed[0].from_s(), 4, 5e-3);
}

TEST(MarkBookTest, IsBounded) {
  MarkBook book;
  for (std::size_t i = 0; i < MarkBook::kMarksMost + 7; ++i) book.button(i);
  EXPECT_EQ(book.placed(ClockFit(kRate), kRate).size(), MarkBook::kMarksMost);
  EXPECT_EQ(book.dropped(), 7U);
}

}  // namespace
}  // namespace host::decode
