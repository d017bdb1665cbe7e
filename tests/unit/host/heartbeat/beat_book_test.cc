// SPDX-License-Identifier: Apache-2.0
// Expected intervals are worked by hand from the rules of proto/heartbeat.md.
#include "host/heartbeat/beat_book.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace host::heartbeat {
namespace {

namespace proto = steadyrail::proto;

constexpr std::int64_t kUtcUs = 1'767'225'600'000'000;
constexpr double kSlackS = 2e-6;

/// A PC that beats each second, and the book that hears it, on a clock of their own.
class BeatBookTest : public testing::Test {
 protected:
  Moment at(double s) const {
    return {1000 + s, model::HostTime{std::chrono::microseconds(kUtcUs + std::llround((s + set_s_) * 1e6))}};
  }
  void look_to(double s) {
    for (; looked_s_ < s; looked_s_ += 0.05) book_.look(at(looked_s_));
  }
  void beat(double s, std::uint64_t number, const std::string& run = "a", bool farewell = false) {
    look_to(s);
    book_.take(to_text({"token", run, number, sender_ms_, std::chrono::milliseconds(1000), farewell}), at(s), false);
  }
  /// Beats `from` to `to` at their seconds.
  void beats(std::uint64_t from, std::uint64_t to) {
    for (std::uint64_t n = from; n <= to; ++n) beat(static_cast<double>(n), n);
  }
  /// The last note of each silence.
  std::vector<proto::HeartbeatSilence> silences() {
    for (const auto& note : book_.take_notes()) {
      ++notes_;
      if (!note.has_heartbeat_silence()) continue;
      const auto& said = note.heartbeat_silence();
      if (kept_.size() < said.number()) kept_.resize(said.number());
      kept_[said.number() - 1] = said;
    }
    return kept_;
  }
  static double s_of(std::uint64_t utc_us) {
    return static_cast<double>(static_cast<std::int64_t>(utc_us) - kUtcUs) * 1e-6;
  }

  BeatBook book_{"token"};
  double looked_s_ = 0;
  double set_s_ = 0;  // the host's clock was put forward by this
  std::uint64_t sender_ms_ = 0;
  std::vector<proto::HeartbeatSilence> kept_;
  std::size_t notes_ = 0;
};

TEST_F(BeatBookTest, ASilenceIsTheIntervalInWhichTheNextBeatDidNotCome) {
  beats(1, 10);
  look_to(13);
  EXPECT_TRUE(silences().empty()) << "three periods and the bound have not passed";
  look_to(13.2);
  ASSERT_EQ(silences().size(), 1U);
  const auto& found = kept_[0];
  EXPECT_EQ(found.end(), proto::SILENCE_END_LASTS);
  EXPECT_EQ(found.last_beat(), 10U);
  EXPECT_NEAR(s_of(found.from_utc_us()), 10 - 0.05, kSlackS);
  EXPECT_NEAR(s_of(found.to_utc_us()), 10 + 1 + 0.05, kSlackS);
}

TEST_F(BeatBookTest, LateAndLostBeatsWidenTheInterval) {
  beats(1, 5);
  beat(6.3, 6);  // 0.3 s late
  beat(7, 7);
  beat(9, 9);  // 8 was lost
  beat(10, 10);
  look_to(14.5);
  ASSERT_EQ(silences().size(), 1U);
  EXPECT_NEAR(s_of(kept_[0].from_utc_us()), 10 - 0.3, kSlackS);
  EXPECT_NEAR(s_of(kept_[0].to_utc_us()), 10 + 2 + 0.3, kSlackS);
  EXPECT_EQ(book_.summary().lost(), 1U);
}

TEST_F(BeatBookTest, ANewRunAfterASilenceLeavesTheLockUp) {
  beats(1, 10);
  beat(40, 1, "b");
  ASSERT_EQ(silences().size(), 1U);
  EXPECT_EQ(kept_[0].end(), proto::SILENCE_END_NEW_RUN);
  EXPECT_NEAR(kept_[0].silent_s(), 30, 1e-6);
  EXPECT_EQ(book_.summary().runs(), 2U);
}

TEST_F(BeatBookTest, AStallAndANetworkThatWasAwayAreNoLockUps) {
  beats(1, 10);
  beat(20, 11);   // the next number: nothing ran meanwhile
  beats(21, 22);  // numbered 21 and 22: nine beats got lost within a second: the sender is broken, but it runs
  EXPECT_EQ(silences()[0].end(), proto::SILENCE_END_STALLED);
  beat(40, 39);
  EXPECT_EQ(silences()[1].end(), proto::SILENCE_END_NETWORK);
  EXPECT_THAT(book_.take_words(), testing::Contains(testing::HasSubstr("no lock-up")));
}

TEST_F(BeatBookTest, AQuickRestartOfTheSenderIsNoSilence) {
  beats(1, 10);
  beat(10.6, 1, "b");
  EXPECT_TRUE(silences().empty());
  beat(13.2, 1, "c");  // 2.6 s: b's next beat was missed
  ASSERT_EQ(silences().size(), 1U);
  EXPECT_EQ(kept_[0].end(), proto::SILENCE_END_NEW_RUN);
}

TEST_F(BeatBookTest, AFarewellIsFollowedByNoSilence) {
  beats(1, 10);
  for (std::uint64_t n = 11; n <= 13; ++n) beat(10.1, n, "a", true);
  look_to(60);
  EXPECT_TRUE(silences().empty());
  EXPECT_EQ(book_.summary().farewells(), 1U);
}

TEST_F(BeatBookTest, RepeatedAndReorderedBeatsProlongNothing) {
  beats(1, 7);
  beat(9, 9);
  beat(9.01, 8);  // overtaken
  EXPECT_EQ(book_.summary().out_of_order(), 1U);
  EXPECT_EQ(book_.summary().lost(), 0U);
  beat(10, 10);
  for (int i = 0; i < 60; ++i) beat(10.1 + i * 0.1, 5 + i % 6);  // somebody sends old beats once more
  EXPECT_EQ(book_.summary().repeated(), 60U);
  ASSERT_EQ(silences().size(), 1U);
  EXPECT_NEAR(s_of(kept_[0].from_utc_us()), 10 - 0.05, kSlackS);
}

TEST_F(BeatBookTest, BeatsOfARunThatIsOverAreNotTaken) {
  beats(1, 5);
  beat(6, 1, "b");
  for (std::uint64_t n = 6; n < 12; ++n) beat(static_cast<double>(n) + 0.5, n, "a");
  EXPECT_EQ(book_.summary().of_earlier_runs(), 6U);
  EXPECT_EQ(silences().size(), 1U) << "b has stopped, whatever a says";
}

TEST_F(BeatBookTest, StrangersAreCountedAndProveNothing) {
  beats(1, 5);
  for (int i = 0; i < 100; ++i) {
    look_to(5 + i * 0.1);
    book_.take("steadyrail-heartbeat 1 other-token a 6 0 1000", at(5 + i * 0.1), false);
    book_.take("GET / HTTP/1.1", at(5 + i * 0.1), false);
  }
  EXPECT_EQ(book_.summary().foreign(), 100U);
  EXPECT_EQ(book_.summary().malformed(), 100U);
  EXPECT_EQ(silences().size(), 1U);
  EXPECT_LT(notes_, 10U) << "a flood must not fill the recording";
}

TEST_F(BeatBookTest, NoClockButTheListenersOwnDates) {
  sender_ms_ = 9'000'000'000'000'000;  // the sender's count is far away and stands still
  beats(1, 10);
  set_s_ = 7200;  // the host's clock was put forward by two hours: its own line moves along
  look_to(14);
  ASSERT_EQ(silences().size(), 1U);
  EXPECT_NEAR(s_of(kept_[0].from_utc_us()), 7200 + 10 - 0.05, kSlackS);
}

TEST_F(BeatBookTest, WarnsOnceOfBeatsFromTheRecordingComputer) {
  for (int n = 1; n <= 3; ++n) {
    book_.take(to_text({"token", "a", static_cast<std::uint64_t>(n), 0, std::chrono::milliseconds(1000), false}), at(n),
               true);
  }
  const auto words = book_.take_words();
  EXPECT_EQ(std::ranges::count_if(words, [](const auto& one) { return one.starts_with("WARNING"); }), 1);
  EXPECT_TRUE(book_.summary().from_this_computer());
}

TEST_F(BeatBookTest, ManySilencesStayBounded) {
  double s = 0;
  for (int run = 0; run < 1000; ++run) {
    beat(s += 1, 1, "r" + std::to_string(run));
    beat(s += 1, 2, "r" + std::to_string(run));
    s += 4;
  }
  EXPECT_EQ(silences().size(), BeatBook::kSilencesNotedMost);
  EXPECT_EQ(book_.summary().silences(), 999U);
}

TEST_F(BeatBookTest, WithoutABeatThereIsNoSilenceButTheSummarySaysWhoListened) {
  book_.listen_at("virtual");
  look_to(100);
  book_.finish(at(100));
  const auto notes = book_.take_notes();
  ASSERT_FALSE(notes.empty());
  EXPECT_EQ(notes.back().heartbeats().listened_at(), "virtual");
  EXPECT_EQ(notes.back().heartbeats().beats(), 0U);
}

}  // namespace
}  // namespace host::heartbeat
