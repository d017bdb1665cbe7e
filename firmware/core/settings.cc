// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/settings.h"

#include <bit>
#include <optional>

#include "firmware/core/scan_time.h"

namespace firmware {
namespace {

constexpr std::unexpected<Refused> out_of_range(std::uint32_t field) {
  return std::unexpected(Refused{steadyrail_proto_Refusal_REFUSAL_OUT_OF_RANGE, field});
}

constexpr std::uint32_t kAllChannels = (std::uint32_t{1} << wire::kChannelCount) - 1;

constexpr bool within(std::uint32_t value, std::uint32_t least, std::uint32_t most) {
  return value >= least && value <= most;
}

constexpr bool is_code(std::int32_t value) {
  return value >= std::numeric_limits<std::int16_t>::min() && value <= std::numeric_limits<std::int16_t>::max();
}

bool limit_sound(const steadyrail_proto_ArmedLimit& limit) {
  if (limit.channel >= wire::kChannelCount || !is_code(limit.code) || !is_code(limit.release_code)) return false;
  const bool low = limit.side == steadyrail_proto_Side_SIDE_LOW;
  if (!low && limit.side != steadyrail_proto_Side_SIDE_HIGH) return false;
  // A release beyond the limit would end an excursion at its own first scan, for ever.
  return low ? limit.release_code >= limit.code : limit.release_code <= limit.code;
}

bool group_sound(const CaptureGroup& group) {
  const auto channels = static_cast<std::uint32_t>(std::popcount(group.channel_mask));
  return group.channel_mask >> wire::kChannelCount == 0 && channels != 0 &&
         group.before_scans <= kCaptureBeforeLongest && group.after_scans <= kCaptureCodesMost &&
         group.scans() * channels <= kCaptureCodesMost;
}

/// The field at fault, where one is.
std::optional<std::uint32_t> take_captures(const steadyrail_proto_Configure& message, Settings& settings) {
  CaptureGroup& common = settings.capture_groups[0];
  common.channel_mask = kAllChannels;
  common.trigger_mask = kAllChannels;
  if (message.capture_before_scans != 0) common.before_scans = message.capture_before_scans;
  if (message.capture_after_scans != 0) common.after_scans = message.capture_after_scans;
  if (common.before_scans > kCaptureBeforeLongest) return steadyrail_proto_Configure_capture_before_scans_tag;
  if (!group_sound(common)) return steadyrail_proto_Configure_capture_after_scans_tag;
  for (pb_size_t i = 0; i < message.capture_groups_count; ++i) {
    const steadyrail_proto_CaptureGroup& asked = message.capture_groups[i];
    const CaptureGroup group{
        .trigger_mask = asked.trigger_mask,
        .channel_mask = asked.channel_mask,
        .before_scans = asked.before_scans != 0 ? asked.before_scans : common.before_scans,
        .after_scans = asked.after_scans != 0 ? asked.after_scans : common.after_scans,
    };
    const bool free = (group.trigger_mask & ~common.trigger_mask) == 0;  // in no other group, and channels that exist
    if (group.trigger_mask == 0 || !free || !group_sound(group)) {
      return steadyrail_proto_Configure_capture_groups_tag;
    }
    common.trigger_mask &= ~group.trigger_mask;
    settings.capture_groups[settings.capture_group_count++] = group;
  }
  return std::nullopt;
}

std::expected<void, Refused> check(const steadyrail_proto_Arm& message) {
  if (message.set == 0) return out_of_range(steadyrail_proto_Arm_set_tag);
  std::uint32_t seen_low = 0;
  std::uint32_t seen_high = 0;
  for (pb_size_t i = 0; i < message.limits_count; ++i) {
    const steadyrail_proto_ArmedLimit& limit = message.limits[i];
    if (!limit_sound(limit)) return out_of_range(steadyrail_proto_Arm_limits_tag);
    std::uint32_t& seen = limit.side == steadyrail_proto_Side_SIDE_LOW ? seen_low : seen_high;
    if ((seen >> limit.channel & 1) != 0) return out_of_range(steadyrail_proto_Arm_limits_tag);
    seen |= std::uint32_t{1} << limit.channel;
  }
  for (pb_size_t i = 0; i < message.thresholds_count; ++i) {
    const steadyrail_proto_Threshold& threshold = message.thresholds[i];
    if (threshold.channel >= wire::kChannelCount || !is_code(threshold.code)) {
      return out_of_range(steadyrail_proto_Arm_thresholds_tag);
    }
  }
  return {};
}

}  // namespace

std::expected<Settings, Refused> settings_from(const steadyrail_proto_Configure& message) {
  Settings settings;
  const std::uint32_t window = message.scans_per_window;
  if (!within(window, wire::kScansPerBlock, kScansPerWindowLongest) || !std::has_single_bit(window)) {
    return out_of_range(steadyrail_proto_Configure_scans_per_window_tag);
  }
  settings.scans_per_window = window;
  if (!within(message.line_bytes_per_s, 9600, 2000000)) {
    return out_of_range(steadyrail_proto_Configure_line_bytes_per_s_tag);
  }
  settings.line_bytes_per_s = message.line_bytes_per_s;
  if (message.host_silence_ms != 0) settings.host_silence_ms = message.host_silence_ms;
  if (!within(settings.host_silence_ms, 100, 60000)) {
    return out_of_range(steadyrail_proto_Configure_host_silence_ms_tag);
  }
  if (message.events_per_s != 0) settings.events_per_s = message.events_per_s;
  if (settings.events_per_s > 1000) return out_of_range(steadyrail_proto_Configure_events_per_s_tag);
  if (const auto refused = take_captures(message, settings)) return out_of_range(*refused);
  for (pb_size_t i = 0; i < message.step_triggers_count; ++i) {
    const steadyrail_proto_StepTrigger& trigger = message.step_triggers[i];
    if (trigger.channel >= wire::kChannelCount || !within(trigger.least_code, 1, 65535)) {
      return out_of_range(steadyrail_proto_Configure_step_triggers_tag);
    }
    for (std::uint32_t k = 0; k < settings.step_trigger_count; ++k) {
      if (settings.step_triggers[k].channel == trigger.channel) {
        return out_of_range(steadyrail_proto_Configure_step_triggers_tag);
      }
    }
    settings.step_triggers[settings.step_trigger_count++] = {static_cast<std::uint8_t>(trigger.channel),
                                                             static_cast<std::uint16_t>(trigger.least_code)};
  }
  if (message.low_end_mask >> wire::kChannelCount != 0)
    return out_of_range(steadyrail_proto_Configure_low_end_mask_tag);
  settings.low_end_mask = message.low_end_mask;
  const std::uint32_t ramp_mask = message.ramp_channel_mask;
  if (ramp_mask >> wire::kChannelCount != 0 || std::popcount(ramp_mask) > static_cast<int>(kRampChannelsMax)) {
    return out_of_range(steadyrail_proto_Configure_ramp_channel_mask_tag);
  }
  settings.ramp_channel_mask = ramp_mask;
  const std::uint32_t ramp_ms = message.ramp_ms != 0 ? message.ramp_ms : kRampMs;
  if (ramp_ms > kRampMsLongest) return out_of_range(steadyrail_proto_Configure_ramp_ms_tag);
  settings.ramp_scans = ramp_ms * kScansPerMillisecond;
  return settings;
}

std::expected<void, Refused> armed_set_from(const steadyrail_proto_Arm& message, ArmedSet& out) {
  if (const auto sound = check(message); !sound) return sound;
  out = ArmedSet{};
  out.set = message.set;
  for (pb_size_t i = 0; i < message.limits_count; ++i) {
    const steadyrail_proto_ArmedLimit& limit = message.limits[i];
    const bool low = limit.side == steadyrail_proto_Side_SIDE_LOW;
    const auto code = static_cast<std::int16_t>(limit.code);
    (low ? out.counts.low : out.counts.high)[limit.channel] = code;
    out.limits[out.limit_count++] = {.channel = static_cast<std::uint8_t>(limit.channel),
                                     .side = low ? LimitSide::kLow : LimitSide::kHigh,
                                     .code = code,
                                     .release_code = static_cast<std::int16_t>(limit.release_code),
                                     .keep_code = limit.keep_code,
                                     .merge_scans = limit.merge_scans,
                                     .least_scans = limit.least_scans};
  }
  for (pb_size_t i = 0; i < message.thresholds_count; ++i) {
    const steadyrail_proto_Threshold& threshold = message.thresholds[i];
    out.thresholds[out.threshold_count++] = {.channel = static_cast<std::uint8_t>(threshold.channel),
                                             .starts_ramp = threshold.starts_ramp,
                                             .code = static_cast<std::int16_t>(threshold.code)};
  }
  return {};
}

}  // namespace firmware
