// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/step_reporter.h"

#include <algorithm>
#include <cstdlib>

namespace firmware {
namespace {

constexpr std::uint32_t kSeed = 0x5EED0001;

// When a group's last step is so far back, no step can still be found that would reach into its settled scans.
constexpr std::uint64_t kGroupDelay = kSettledAfterScans + kSettledScans + kStepGapScans + kStepDelayScans;

}  // namespace

void StepReporter::begin(const Settings& settings, std::uint64_t first_scan) {
  trigger_count_ = settings.step_trigger_count;
  triggers_ = settings.step_triggers;
  biggest_16_ = {};
  sampler_.begin(kSeed);
  kept_ = 0;
  sampled_from_ = first_scan;
  step_limit_.begin(first_scan);
  settled_limit_.begin(first_scan);
  resume(first_scan);
}

void StepReporter::resume(std::uint64_t next_scan) {
  for (std::size_t k = 0; k < trigger_count_; ++k) detectors_[k].begin(triggers_[k]);
  group_ = Group{};
  group_.free_from = next_scan;
}

void StepReporter::on_block(const ScanBlock& block, const ScanSums& sums) {
  found_count_ = 0;
  for (std::size_t k = 0; k < trigger_count_; ++k) {
    const ChannelSums& channel = sums.channels[triggers_[k].channel];
    detectors_[k].on_block(block, channel.min, channel.max, *this);
  }
  const std::span<FoundStep> found(found_.data(), found_count_);
  std::ranges::sort(found, [](const FoundStep& a, const FoundStep& b) {
    return a.scan != b.scan ? a.scan < b.scan : a.channel < b.channel;
  });
  for (const FoundStep& step : found) take(step);
  if (group_.step_id != 0 && ring_.next_scan() >= group_.last_scan + kGroupDelay) {
    finish_group(group_.last_scan + kSettledAfterScans);
  }
  if (ring_.next_scan() >= sampled_from_ + kScansPerSecond) tell_sample(ring_.next_scan());
}

void StepReporter::found(const FoundStep& step) {
  if (found_count_ < kFoundMax) found_[found_count_++] = step;
}

void StepReporter::take(const FoundStep& step) {
  std::uint32_t one_of = 0;
  const bool same = group_.step_id != 0 && step.scan <= group_.first_scan + kStepReachScans;
  if (same) {
    group_.first_scan = std::min(group_.first_scan, step.scan);
    group_.last_scan = std::max(group_.last_scan, step.scan);
  } else {
    open_group(step.scan);
    one_of = sampler_.take();
  }
  tell(step);
  capture(step, one_of);
}

void StepReporter::open_group(std::uint64_t scan) {
  if (group_.step_id != 0) {
    const std::uint64_t guard = scan - kStepGapScans;
    const std::uint64_t settled = group_.last_scan + kSettledAfterScans;
    if (settled + kSettledScans <= guard) {
      finish_group(settled);
    } else if (group_.last_scan + kSettledFreeScansLeast <= guard) {
      finish_group(guard - kSettledScans);
    } else {
      group_.free_from = group_.last_scan + kSettledFreeScansLeast;
    }
  }
  if (++step_ids_ == 0) ++step_ids_;
  group_.step_id = step_ids_;
  group_.first_scan = scan;
  group_.last_scan = scan;
}

void StepReporter::finish_group(std::uint64_t after_scan) {
  const std::uint64_t before_end = group_.first_scan - kStepGapScans;
  const bool settled_before = before_end >= group_.free_from && before_end >= ring_.first_scan() + kSettledScans;
  if (settled_before && settled_limit_.take(ring_.next_scan())) {
    steadyrail_proto_Event event{};
    event.which_kind = steadyrail_proto_Event_settled_tag;
    steadyrail_proto_SettledMeans& settled = event.kind.settled;
    settled.step_id = group_.step_id;
    settled.before_scan = before_end - kSettledScans;
    settled.after_scan = after_scan;
    means(settled.before_scan, settled, false);
    means(settled.after_scan, settled, true);
    telemetry_.event(event);
  }
  group_.free_from = group_.last_scan + kSettledFreeScansLeast;
  group_.step_id = 0;
}

void StepReporter::means(std::uint64_t first_scan, steadyrail_proto_SettledMeans& message, bool after) const {
  (after ? message.after_code_8_count : message.before_code_8_count) = wire::kChannelCount;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    // 8 / 32 of the sum, rounded to the nearest, halves upwards.
    (after ? message.after_code_8 : message.before_code_8)[c] = (ring_.sum(first_scan, kSettledScans, c) + 2) >> 2;
  }
}

void StepReporter::tell(const FoundStep& step) {
  if (!step_limit_.take(ring_.next_scan())) {
    count_up(health_.events_dropped);
    return;
  }
  steadyrail_proto_Event event{};
  event.which_kind = steadyrail_proto_Event_load_step_tag;
  event.kind.load_step = {.channel = step.channel,
                          .scan = step.scan,
                          .step_code_16 = step.step_code_16,
                          .t50_offset_256 = step.t50_offset_256,
                          .from_gate = health_.gate_marks.near(step.scan, kStepReachScans),
                          .step_id = group_.step_id};
  telemetry_.event(event);
}

// The biggest step of each channel so far is always captured; of all steps, one of a channel or of several at once,
// some are drawn by lot, each with the same chance.
void StepReporter::capture(const FoundStep& step, std::uint32_t one_of) {
  const auto size = static_cast<std::uint32_t>(std::abs(step.step_code_16));
  const bool biggest = size > biggest_16_[step.channel];
  biggest_16_[step.channel] = std::max(biggest_16_[step.channel], size);
  if (!biggest && one_of == 0) return;
  const bool taken = captures_.trigger({.cause = CaptureCause::kLoadStep,
                                        .scan = step.scan,
                                        .channel = step.channel,
                                        .ordinary = !biggest,
                                        .one_of = one_of});
  if (taken && one_of != 0) ++kept_;
}

void StepReporter::tell_sample(std::uint64_t end_scan) {
  if (sampler_.seen() != 0) {
    steadyrail_proto_Event event{};
    event.which_kind = steadyrail_proto_Event_step_sample_tag;
    event.kind.step_sample = {.first_scan = sampled_from_,
                              .end_scan = end_scan,
                              .seen = sampler_.seen(),
                              .drawn = sampler_.drawn(),
                              .kept = kept_};
    telemetry_.event(event);
  }
  sampler_.end_second();
  kept_ = 0;
  sampled_from_ = end_scan;
}

}  // namespace firmware
