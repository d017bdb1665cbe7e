// SPDX-License-Identifier: Apache-2.0
#include "host/app/load_run.h"

#include <fmt/format.h>

#include "host/link/words.h"
#include "host/report/words.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

// Between a command and the block in which it begins; a phase is waited for so much longer than it lasts.
constexpr double kMarginS = 0.25;

std::string cause_words(const proto::Status& status) {
  std::string words = "the jig switched everything off: " + report::word(status.safety_cause());
  if (status.has_safety_detail()) words += fmt::format(" ({})", status.safety_detail());
  if (status.safety_cause() != proto::SAFETY_CAUSE_LOAD_STUCK_ON) return words;
  return words +
         ". A load switch has failed short. SWITCH THE SUPPLY OFF AT THE OUTLET NOW: nothing else ends its current";
}

}  // namespace

LoadRun::Next LoadRun::give(proto::HostToJig command, double now_s, double then_wait_s) {
  waiting_ = true;
  wait_until_s_ = now_s + then_wait_s;
  return {.command = std::move(command), .over = false};
}

void LoadRun::fail(const std::string& why) {
  if (ending_) return;
  failure_ = why;
  ending_ = true;
  stage_ = Stage::kGatesOff;
  wait_until_s_ = 0;
}

LoadRun::Next LoadRun::next(double now_s) {
  const std::lock_guard lock(mutex_);
  if (waiting_ || (now_s < wait_until_s_ && stage_ != Stage::kOver)) return {};
  if (stage_ == Stage::kComeUp && !pwr_ok_) {
    fail("the supply did not come up: PWR_OK is low. Is it switched on at the outlet, its main plug in the jig?");
  }
  proto::HostToJig command;
  switch (stage_) {
    case Stage::kDescribe:
      *command.mutable_describe_load_bank() = programme_.bank;
      stage_ = Stage::kSwitchOn;
      return give(std::move(command), now_s, 0);
    case Stage::kSwitchOn:
      command.mutable_drive_ps_on()->set_on(true);
      stage_ = Stage::kComeUp;
      return give(std::move(command), now_s, programme_.plan.before_s());
    case Stage::kComeUp:
    case Stage::kPlay:
      return play(now_s);
    case Stage::kGatesOff:
      ending_ = true;
      command.mutable_load_steps();
      stage_ = Stage::kSwitchOff;
      return give(std::move(command), now_s, 0);
    case Stage::kSwitchOff:
      command.mutable_drive_ps_on()->set_on(false);
      stage_ = Stage::kOver;
      return give(std::move(command), now_s, 0);
    case Stage::kOver:
      break;
  }
  return {.command = {}, .over = true};
}

LoadRun::Next LoadRun::play(double now_s) {
  stage_ = Stage::kPlay;
  if (phase_ == static_cast<std::size_t>(programme_.programme.phases_size())) {
    stage_ = Stage::kGatesOff;
    wait_until_s_ = now_s + programme_.plan.after_s();
    return {};
  }
  const int index = static_cast<int>(phase_++);
  const proto::PlannedPhase& planned = programme_.plan.phases(index);
  proto::HostToJig command;
  *command.mutable_load_steps() = label::load_steps(programme_.programme.phases(index));
  return give(std::move(command), now_s, planned.duration_s() + planned.rest_s() + kMarginS);
}

void LoadRun::answered(const proto::HostToJig& command, const proto::Acknowledgement& answer) {
  const std::lock_guard lock(mutex_);
  waiting_ = false;
  if (answer.refusal() != proto::REFUSAL_NONE) fail(link::refusal_words(command, answer));
}

void LoadRun::heard(const proto::Status& status) {
  const std::lock_guard lock(mutex_);
  pwr_ok_ = (status.lines() >> (proto::LINE_PWR_OK - 1) & 1) != 0;
  if (status.safety_cause() != proto::SAFETY_CAUSE_NONE) return fail(cause_words(status));
  if (stage_ == Stage::kPlay && !pwr_ok_) fail("PWR_OK fell: the supply gave up, or was switched off");
}

void LoadRun::restarted() {
  break_off("the line was lost or the jig restarted: it has switched the load off by itself");
}

void LoadRun::break_off(const std::string& why) {
  const std::lock_guard lock(mutex_);
  fail(why);
}

bool LoadRun::waiting() const {
  const std::lock_guard lock(mutex_);
  return waiting_;
}

std::string LoadRun::failure() const {
  const std::lock_guard lock(mutex_);
  return failure_;
}

std::size_t LoadRun::phases_played() const {
  const std::lock_guard lock(mutex_);
  return phase_;
}

std::vector<proto::HostToJig> LoadRun::all_off() {
  std::vector<proto::HostToJig> commands(2);
  commands[0].mutable_load_steps();
  commands[1].mutable_drive_ps_on()->set_on(false);
  return commands;
}

}  // namespace host::app
