// SPDX-License-Identifier: Apache-2.0
#include "host/heartbeat/beat_book.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include <fmt/format.h>

namespace host::heartbeat {
namespace {

namespace proto = steadyrail::proto;

constexpr std::size_t kRunsKept = 256;
constexpr std::size_t kNotesMost = 2000;  // waiting for a session that takes none
constexpr double kSummaryEveryS = 60;
constexpr std::uint64_t kWindow = 64;  // numbers back that are told from repeated ones
// Of the beats due in a silence, the share a sender must have counted on by to have run through it; own choice.
constexpr double kCountedOnShare = 0.5;

std::uint64_t utc_us(Moment at, double later_s) {
  const auto us = at.utc.since_epoch.count() + std::llround(later_s * 1e6);
  return us > 0 ? static_cast<std::uint64_t>(us) : 0;
}

}  // namespace

BeatBook::BeatBook(std::string token) : token_(std::move(token)) {
  summary_.set_late_bound_s(kLateFloorS);
  summary_due_ = true;
}

void BeatBook::say(std::string words) {
  constexpr std::size_t kWordsMost = 100;  // waiting for a session that has not begun
  if (words_.size() < kWordsMost) words_.push_back(std::move(words));
}

void BeatBook::say_once(bool& said, std::string words) {
  if (std::exchange(said, true)) return;
  say(std::move(words));
}

void BeatBook::take(std::string_view datagram, Moment now, bool from_here) {
  const auto beat = parse_beat(datagram, token_);
  if (!beat) {
    if (beat.error() == BeatFault::kMalformed) {
      summary_.set_malformed(summary_.malformed() + 1);
    } else {
      summary_.set_foreign(summary_.foreign() + 1);
      say_once(told_foreign_, "heartbeats with another token come in: another bench's, or a mistyped one; not taken");
    }
    summary_due_ = true;
    return;
  }
  summary_due_ = true;
  if (std::ranges::find(earlier_runs_, beat->run) != earlier_runs_.end()) {
    summary_.set_of_earlier_runs(summary_.of_earlier_runs() + 1);
    say_once(told_earlier_,
             "beats of an earlier start of the sender come in again: two senders run, or somebody "
             "sends old beats once more; not taken");
    return;
  }
  if (from_here) {
    summary_.set_from_this_computer(true);
    say_once(told_here_,
             "WARNING: heartbeats come from this very computer. The recording computer must not be the PC "
             "under test: when that one locks up, the recording ends with it");
  }
  if (beat->run != run_) {
    first_of_run(*beat, now);
  } else {
    next_of_run(*beat, now);
  }
}

void BeatBook::first_of_run(const Beat& beat, Moment now) {
  const bool missed = state_ == State::kBeating && now.steady_s - last_.steady_s > period_s_ + late_s();
  if (missed) begin_silence(now);
  if (state_ == State::kSilent) end_silence(proto::SILENCE_END_NEW_RUN, now);
  if (!run_.empty()) {
    earlier_runs_.push_back(run_);
    if (earlier_runs_.size() > kRunsKept) earlier_runs_.pop_front();
  }
  summary_.set_runs(summary_.runs() + 1);
  run_ = beat.run;
  number_ = beat.number;
  seen_ = 1;
  period_s_ = static_cast<double>(beat.period.count()) * 1e-3;
  last_ = now;
  summary_.set_period_s(period_s_);
  summary_.set_beats(summary_.beats() + 1);
  state_ = State::kBeating;
  if (summary_.runs() == 1) say(fmt::format("heartbeats come in, one every {:g} s", period_s_));
  if (beat.farewell) farewell();
}

// Said more than once, since any of them may be lost on its way.
void BeatBook::farewell() {
  state_ = State::kFarewell;
  summary_.set_farewells(summary_.farewells() + 1);
  say("the heartbeat was ended at the PC under test");
}

bool BeatBook::seen_before(std::uint64_t number) {
  const std::uint64_t back = number_ - number;
  if (back >= kWindow || (seen_ >> back & 1) != 0) return true;
  seen_ |= std::uint64_t{1} << back;
  return false;
}

void BeatBook::next_of_run(const Beat& beat, Moment now) {
  if (beat.number <= number_) {
    if (seen_before(beat.number)) {
      summary_.set_repeated(summary_.repeated() + 1);
    } else {
      summary_.set_out_of_order(summary_.out_of_order() + 1);
      summary_.set_lost(summary_.lost() - std::min<std::uint64_t>(summary_.lost(), 1));
      summary_.set_beats(summary_.beats() + 1);
    }
    return;  // it left the PC before the latest one: nothing new about when
  }
  const std::uint64_t ahead = beat.number - number_;
  const double since_s = now.steady_s - last_.steady_s;
  summary_.set_lost(summary_.lost() + ahead - 1);
  if (state_ == State::kSilent) {
    const bool counted_on =
        static_cast<double>(ahead) > 1 && static_cast<double>(ahead) * period_s_ > kCountedOnShare * since_s;
    end_silence(counted_on ? proto::SILENCE_END_NETWORK : proto::SILENCE_END_STALLED, now);
  } else if (state_ == State::kBeating) {
    if (ahead > 1) {
      const auto in_a_row = static_cast<std::uint32_t>(std::min<std::uint64_t>(ahead - 1, 0xFFFF));
      summary_.set_lost_in_a_row(std::max(summary_.lost_in_a_row(), in_a_row));
    }
    summary_.set_late_bound_s(std::max(late_s(), since_s - static_cast<double>(ahead) * period_s_));
  }
  seen_ = ahead < kWindow ? seen_ << ahead | 1 : 1;
  number_ = beat.number;
  last_ = now;
  summary_.set_beats(summary_.beats() + 1);
  if (beat.farewell && state_ == State::kFarewell) return;
  state_ = State::kBeating;
  if (beat.farewell) farewell();
}

void BeatBook::begin_silence(Moment now) {
  summary_.set_silences(summary_.silences() + 1);
  state_ = State::kSilent;
  const double ago_s = now.steady_s - last_.steady_s;
  // Beats that the network is known to lose may have left the PC unseen.
  const double unseen_s = (1 + static_cast<double>(summary_.lost_in_a_row())) * period_s_;
  silence_.Clear();
  silence_.set_number(summary_.silences());
  // Counted back from now: a host clock that was set meanwhile still dates the silence on the session's own line.
  silence_.set_from_utc_us(utc_us(now, -ago_s - late_s()));
  silence_.set_to_utc_us(utc_us(now, -ago_s + unseen_s + late_s()));
  silence_.set_last_beat(number_);
  silence_.set_end(proto::SILENCE_END_LASTS);
  silence_.set_silent_s(ago_s);
  note_silence();
  say(fmt::format("no heartbeat for {:.1f} s: a lock-up is marked", ago_s));
}

void BeatBook::end_silence(proto::SilenceEnd end, Moment now) {
  silence_.set_end(end);
  silence_.set_silent_s(now.steady_s - last_.steady_s);
  note_silence();
  const char* what = end == proto::SILENCE_END_NEW_RUN   ? "the sender was started anew; the lock-up stays marked"
                     : end == proto::SILENCE_END_STALLED ? "the PC stood still and came back by itself; no lock-up"
                                                         : "beats were lost on their way, the PC ran on; no lock-up";
  say(fmt::format("heartbeats are back after {:.1f} s: {}", silence_.silent_s(), what));
}

void BeatBook::note_silence() {
  if (silence_.number() > kSilencesNotedMost || notes_.size() >= kNotesMost) return;
  proto::HostNote note;
  *note.mutable_heartbeat_silence() = silence_;
  notes_.push_back(std::move(note));
  summary_due_ = true;
}

void BeatBook::note_summary(Moment now) {
  summary_at_s_ = now.steady_s + kSummaryEveryS;
  summary_due_ = false;
  if (notes_.size() >= kNotesMost) return;
  proto::HostNote note;
  *note.mutable_heartbeats() = summary_;
  notes_.push_back(std::move(note));
}

void BeatBook::look(Moment now) {
  const double silent_after_s = (kSilentPeriods + static_cast<double>(summary_.lost_in_a_row())) * period_s_ + late_s();
  if (state_ == State::kBeating && now.steady_s - last_.steady_s > silent_after_s) begin_silence(now);
  if (summary_due_ && now.steady_s >= summary_at_s_) note_summary(now);
}

void BeatBook::finish(Moment now) {
  look(now);
  if (state_ == State::kSilent) {
    silence_.set_silent_s(now.steady_s - last_.steady_s);
    note_silence();
  }
  note_summary(now);
}

std::vector<proto::HostNote> BeatBook::take_notes() {
  return std::exchange(notes_, {});
}

std::vector<std::string> BeatBook::take_words() {
  return std::exchange(words_, {});
}

}  // namespace host::heartbeat
