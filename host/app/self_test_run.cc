// SPDX-License-Identifier: Apache-2.0
#include "host/app/self_test_run.h"

#include <algorithm>
#include <cmath>

#include "host/link/words.h"
#include "host/report/words.h"
#include "host/selftest/readings.h"
#include "host/selftest/setup.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr std::uint64_t kSettleScans = 320;  // 10 ms: hundreds of time constants of the slowest chain
constexpr double kScansNeeded = 8000;        // a quarter of a second
constexpr double kMovedShare = 0.02;         // of full scale: more than a dead tap may read

}  // namespace

SelfTestRun::SelfTestRun(const proto::TestSetup& setup, const model::Jig& jig)
    : setup_(setup), jig_(jig), plan_(selftest::plan(setup, jig)), scans_needed_(kScansNeeded) {}

void SelfTestRun::hello(const proto::Hello& hello, std::uint32_t boot) {
  const std::lock_guard lock(mutex_);
  hello_ = hello;
  boot_ = boot;
}

void SelfTestRun::started(std::uint64_t scan) {
  const std::lock_guard lock(mutex_);
  if (started_) return fail("the line was lost or the jig restarted: the source is off");
  started_ = true;
  begin_gathering(scan);
}

void SelfTestRun::begin_gathering(std::uint64_t scan) {
  from_scan_ = scan + kSettleScans;
  gathered_ = {};
}

void SelfTestRun::fail(const std::string& why) {
  if (failure_.empty()) failure_ = why;
  ending_ = true;
}

SelfTestRun::Next SelfTestRun::next() {
  const std::lock_guard lock(mutex_);
  if (over_) return {.command = {}, .over = true};
  if (!ending_ && (!from_scan_ || !complete())) return {};
  if (!ending_) {
    keep();
    ++at_;
    while (at_ < plan_.size() && too_high()) ++at_;
  }
  proto::HostToJig command;
  if (ending_ || at_ == plan_.size()) {
    ending_ = true;
    over_ = true;
    command.mutable_join_source();  // off
    return {.command = std::move(command), .over = false};
  }
  *command.mutable_join_source() = selftest::command_of(plan_[at_], setup_, jig_, moved_);
  from_scan_.reset();
  return {.command = std::move(command), .over = false};
}

// A lead on another's tap would bring that tap's voltage to a channel that cannot read it.
bool SelfTestRun::too_high() const {
  const selftest::Stimulus& next = plan_[at_];
  const bool high = next.purpose == selftest::Purpose::kHigh || next.purpose == selftest::Purpose::kHighWeak ||
                    next.purpose == selftest::Purpose::kLink;
  if (!high || setup_.inputs(next.input).attenuation() > 0) return false;
  return selftest::Readings(setup_, jig_, seen_).responders(next.input) != std::vector{next.input};
}

void SelfTestRun::keep() {
  selftest::Observed out;
  out.stimulus = plan_[at_];
  out.scans = gathered_.scans;
  out.clipped_mask = gathered_.clipped_mask;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    const double mean = gathered_.sum[c] / gathered_.scans;
    out.mean_code[c] = gathered_.center[c] + mean;
    out.deviation_code[c] = std::sqrt(std::max(gathered_.squares[c] / gathered_.scans - mean * mean, 0.0));
    // What the source moves now may be anywhere when it is joined elsewhere; what it never touched must stay dead.
    const double rest = seen_.stimuli.empty() ? out.mean_code[c] : seen_.stimuli.front().mean_code[c];
    moved_[c] = out.stimulus.outputs != 0 && std::abs(out.mean_code[c] - rest) > kMovedShare * 65536;
  }
  seen_.stimuli.push_back(out);
}

bool SelfTestRun::gathering() const {
  const std::lock_guard lock(mutex_);
  return !ending_ && !over_ && (!from_scan_ || !complete());
}

std::string SelfTestRun::failure() const {
  const std::lock_guard lock(mutex_);
  return failure_;
}

std::size_t SelfTestRun::done() const {
  const std::lock_guard lock(mutex_);
  return at_;
}

void SelfTestRun::command_answered(const proto::HostToJig& command, const proto::Acknowledgement& answer) {
  const std::lock_guard lock(mutex_);
  if (!command.has_join_source() || ending_) return;
  if (answer.refusal() != proto::REFUSAL_NONE) return fail(link::refusal_words(command, answer));
  begin_gathering(answer.scan());
}

void SelfTestRun::status(const proto::Status& status) {
  const std::lock_guard lock(mutex_);
  if (status.safety_cause() == proto::SAFETY_CAUSE_NONE || ending_) return;
  std::string words = "the jig stopped the source: " + report::word(status.safety_cause());
  if (status.safety_detail() < wire::kChannelCount && status.has_safety_detail()) {
    const model::JigChannel* channel = jig_.at(status.safety_detail());
    if (channel != nullptr) words += " at " + channel->name;
  }
  fail(words);
}

void SelfTestRun::windows(const decode::WindowBatch& batch) {
  const std::lock_guard lock(mutex_);
  if (!from_scan_ || complete()) return;
  bool taken = false;
  for (std::uint32_t w = 0; w < batch.window_count && !complete(); ++w) {
    if (batch.first_scan + std::uint64_t{w} * batch.scans_per_window < *from_scan_) continue;
    taken = true;
    const double n = batch.scans_per_window;
    for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
      const wire::DecodedColumns& column = batch.windows->channels[c];
      const double mean = column.mean_8[w] / 8.0;
      if (gathered_.scans == 0) gathered_.center[c] = mean;
      const double off = mean - gathered_.center[c];
      gathered_.sum[c] += n * off;
      gathered_.squares[c] += n * (off * off + column.variance[w]);
    }
    gathered_.scans += n;
  }
  if (taken) gathered_.clipped_mask |= batch.clipped_mask;
}

void SelfTestRun::event(const proto::Event& event) {
  const std::lock_guard lock(mutex_);
  if (!event.has_crossing() || at_ >= plan_.size() || plan_[at_].purpose != selftest::Purpose::kStep) return;
  const proto::Crossing& crossing = event.crossing();
  const auto seen = [&](const selftest::StepSeen& one) { return one.channel == crossing.channel(); };
  if (std::ranges::any_of(seen_.steps, seen)) return;  // what noise does after the step is no step
  seen_.steps.push_back({crossing.channel(), static_cast<double>(crossing.scan_before()),
                         static_cast<double>(crossing.code_before()), static_cast<double>(crossing.code_after())});
}

}  // namespace host::app
