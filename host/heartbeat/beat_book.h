// SPDX-License-Identifier: Apache-2.0
// What the beats of one session say. A stop dates a lock-up to an interval: the PC still sent when the last beat left
// it, and by one period and the lateness bound after that beat came it had failed to send the next.
#pragma once

#include <cstdint>
#include <deque>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "host/heartbeat/beat.h"
#include "host/model/units.h"
#include "recording.pb.h"

namespace host::heartbeat {

/// A moment by two clocks of the recording computer: one that is never set, s, and the one marks are dated by.
struct Moment {
  double steady_s = 0;
  model::HostTime utc;
};

class BeatBook {
 public:
  /// Beats missing in a row before the PC counts as silent.
  static constexpr double kSilentPeriods = 3;
  /// The least lateness a beat is granted: a busy network and two schedulers; own choice.
  static constexpr double kLateFloorS = 0.05;
  static constexpr std::uint32_t kSilencesNotedMost = 500;

  explicit BeatBook(std::string token);
  /// Address and port, for the summary.
  void listen_at(std::string where) { summary_.set_listened_at(std::move(where)); }

  /// A datagram came. `from_here`: from an address of this computer.
  void take(std::string_view datagram, Moment now, bool from_here);
  /// Looks whether the beats have stopped. Call it at least ten times a second.
  void look(Moment now);
  /// The session ends.
  void finish(Moment now);

  /// Notes for the recording that are due, oldest first: each silence when it begins and when it ends, the summary each
  /// minute and at the end.
  std::vector<steadyrail::proto::HostNote> take_notes();
  /// Sentences for the user since the last call.
  std::vector<std::string> take_words();
  const steadyrail::proto::HeartbeatSummary& summary() const { return summary_; }

 private:
  enum class State : std::uint8_t { kNone, kBeating, kSilent, kFarewell };

  void first_of_run(const Beat& beat, Moment now);
  void next_of_run(const Beat& beat, Moment now);
  void farewell();
  void begin_silence(Moment now);
  void end_silence(steadyrail::proto::SilenceEnd end, Moment now);
  void note_silence();
  void note_summary(Moment now);
  bool seen_before(std::uint64_t number);
  void say(std::string words);
  void say_once(bool& said, std::string words);
  double late_s() const { return summary_.late_bound_s(); }

  std::string token_;
  State state_ = State::kNone;
  std::string run_;
  std::deque<std::string> earlier_runs_;
  std::uint64_t number_ = 0;  // latest of the run
  std::uint64_t seen_ = 0;    // bit i: number_ - i has come
  double period_s_ = 0;
  Moment last_;  // when number_ came
  steadyrail::proto::HeartbeatSilence silence_;
  double summary_at_s_ = 0;
  bool summary_due_ = false;
  bool told_here_ = false;
  bool told_foreign_ = false;
  bool told_earlier_ = false;
  steadyrail::proto::HeartbeatSummary summary_;
  std::vector<steadyrail::proto::HostNote> notes_;
  std::vector<std::string> words_;
};

}  // namespace host::heartbeat
