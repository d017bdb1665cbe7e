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
  random_state_ = kSeed;
  capture_from_ = first_scan;
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
}

void StepReporter::found(const FoundStep& step) {
  if (found_count_ < kFoundMax) found_[found_count_++] = step;
}

void StepReporter::take(const FoundStep& step) {
  const bool same = group_.step_id != 0 && step.scan <= group_.first_scan + kStepReachScans;
  if (same) {
    group_.first_scan = std::min(group_.first_scan, step.scan);
    group_.last_scan = std::max(group_.last_scan, step.scan);
  } else {
    open_group(step.scan);
  }
  tell(step);
  capture(step);
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

// The biggest step of each channel so far is always captured; of the others the first after a random pause, so that
// every phase of a repeating load has its chance.
void StepReporter::capture(const FoundStep& step) {
  const auto size = static_cast<std::uint32_t>(std::abs(step.step_code_16));
  const bool biggest = size > biggest_16_[step.channel];
  biggest_16_[step.channel] = std::max(biggest_16_[step.channel], size);
  if (!biggest && step.scan < capture_from_) return;
  const bool taken = captures_.trigger(
      {.cause = CaptureCause::kLoadStep, .scan = step.scan, .channel = step.channel, .ordinary = !biggest});
  if (!taken || biggest) return;
  constexpr std::uint32_t kMeanPause = kScansPerSecond / kOrdinaryStepCapturesPerSecond;
  capture_from_ = step.scan + random() % (2 * kMeanPause);
}

// Marsaglia's xorshift32 (Journal of Statistical Software 8(14), 2003).
std::uint32_t StepReporter::random() {
  random_state_ ^= random_state_ << 13;
  random_state_ ^= random_state_ >> 17;
  random_state_ ^= random_state_ << 5;
  return random_state_;
}

}  // namespace firmware
