// SPDX-License-Identifier: Apache-2.0
// A load programme being played: which command is due when, and why it was broken off. No clock and no line of its own.
#pragma once

#include <cstddef>
#include <cstdint>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "host/label/load_plan.h"

namespace host::app {

class LoadRun {
 public:
  explicit LoadRun(label::CheckedProgramme programme) : programme_(std::move(programme)) {}

  /// What to do at `now_s`, seconds since the jig was started: a command, the end, or nothing. While a command waits
  /// for its answer there is no other.
  struct Next {
    std::optional<steadyrail::proto::HostToJig> command;
    bool over = false;
  };
  Next next(double now_s);

  // What was heard; from any thread.
  void answered(const steadyrail::proto::HostToJig& command, const steadyrail::proto::Acknowledgement& answer);
  void heard(const steadyrail::proto::Status& status);
  /// The jig was started again: its bank is forgotten and the programme with it.
  void restarted();
  void break_off(const std::string& why);
  /// Whether a command was given out and not answered yet.
  bool waiting() const;

  /// Empty: played to its end, or not over yet.
  std::string failure() const;
  std::size_t phases_played() const;

  /// Commands that leave nothing on, for a session broken off from outside.
  static std::vector<steadyrail::proto::HostToJig> all_off();

 private:
  enum class Stage : std::uint8_t { kDescribe, kSwitchOn, kComeUp, kPlay, kGatesOff, kSwitchOff, kOver };

  Next give(steadyrail::proto::HostToJig command, double now_s, double then_wait_s);
  Next play(double now_s);
  void fail(const std::string& why);

  label::CheckedProgramme programme_;
  mutable std::mutex mutex_;
  Stage stage_ = Stage::kDescribe;
  std::size_t phase_ = 0;
  double wait_until_s_ = 0;
  bool waiting_ = false;
  bool pwr_ok_ = false;
  bool ending_ = false;  // refusals no longer matter
  std::string failure_;
};

}  // namespace host::app
