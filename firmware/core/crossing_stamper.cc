// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/crossing_stamper.h"

#include <algorithm>

namespace firmware {

void CrossingStamper::begin(const ArmedSet& armed, std::uint64_t first_scan) {
  armed_ = &armed;
  resume();
  for (RateLimit& limit : limits_) {
    limit = RateLimit(kCrossingsPerSecond, kCrossingsBurst);
    limit.begin(first_scan);
  }
  shared_limit_.begin(first_scan);
}

void CrossingStamper::on_block(const ScanBlock& block, const ScanSums& sums, RampRecorder& ramps) {
  std::uint32_t left_mask = 0;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    const ChannelSums& channel = sums.channels[c];
    if (channel.min < free_low_[c] || channel.max > free_high_[c]) left_mask |= std::uint32_t{1} << c;
  }
  for (std::uint32_t k = 0; left_mask != 0 && k < armed_->threshold_count; ++k) {
    const ArmedThreshold& threshold = armed_->thresholds[k];
    if ((left_mask >> threshold.channel & 1) == 0) continue;
    const ChannelSums& channel = sums.channels[threshold.channel];
    bool below = channel.min < threshold.code;
    bool above = channel.max >= threshold.code;
    if (has_last_) {
      below = below || last_[threshold.channel] < threshold.code;
      above = above || last_[threshold.channel] >= threshold.code;
    }
    if (below && above) walk(block, k, ramps);
  }
  last_ = block.codes[wire::kScansPerBlock - 1];
  has_last_ = true;
  if (left_mask != 0) look_around(left_mask);
}

void CrossingStamper::look_around(std::uint32_t channel_mask) {
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    if ((channel_mask >> c & 1) == 0) continue;
    free_low_[c] = INT16_MIN;
    free_high_[c] = INT16_MAX;
  }
  for (std::uint32_t k = 0; k < armed_->threshold_count; ++k) {
    const std::int16_t code = armed_->thresholds[k].code;
    const std::size_t c = armed_->thresholds[k].channel;
    if (code <= last_[c]) {
      free_low_[c] = std::max(free_low_[c], code);
    } else {
      free_high_[c] = std::min(free_high_[c], static_cast<std::int16_t>(code - 1));
    }
  }
}

void CrossingStamper::walk(const ScanBlock& block, std::uint32_t index, RampRecorder& ramps) {
  const ArmedThreshold& threshold = armed_->thresholds[index];
  std::int16_t before = has_last_ ? last_[threshold.channel] : block.codes[0][threshold.channel];
  for (std::uint32_t s = 0; s < wire::kScansPerBlock; ++s) {
    const std::int16_t after = block.codes[s][threshold.channel];
    if ((before >= threshold.code) != (after >= threshold.code)) {
      tell(index, block.first_scan + s - 1, before, after);
      if (threshold.starts_ramp && after > before) ramps.trigger(block.first_scan + s, threshold.channel);
    }
    before = after;
  }
}

void CrossingStamper::tell(std::uint32_t index, std::uint64_t scan_before, std::int16_t before, std::int16_t after) {
  if (!limits_[index].take(scan_before) && !shared_limit_.take(scan_before)) {
    count_up(health_.events_dropped);
    return;
  }
  steadyrail_proto_Event event;  // only the fields of its kind are read
  event.which_kind = steadyrail_proto_Event_crossing_tag;
  event.kind.crossing = {.channel = armed_->thresholds[index].channel,
                         .threshold = index,
                         .rising = after > before,
                         .scan_before = scan_before,
                         .code_before = before,
                         .code_after = after};
  telemetry_.event(event);
}

}  // namespace firmware
