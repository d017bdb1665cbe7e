// SPDX-License-Identifier: Apache-2.0
// What the host configures and arms, checked. Everything after this file may rely on the ranges stated here.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <expected>
#include <limits>

#include "link.npb.h"
#include "proto/wire/window.h"

namespace firmware {

inline constexpr std::size_t kStepTriggersMax = 8;
inline constexpr std::size_t kArmedLimitsMax = 2 * wire::kChannelCount;
inline constexpr std::size_t kThresholdsMax = 48;
inline constexpr std::size_t kCaptureGroupsMax = 4;
inline constexpr std::uint32_t kScansPerWindowLongest = 256;

/// Why a command is not done, and which field is at fault (0: none).
struct Refused {
  steadyrail_proto_Refusal refusal = steadyrail_proto_Refusal_REFUSAL_NONE;
  std::uint32_t field = 0;
};

struct StepTrigger {
  std::uint8_t channel = 0;
  std::uint16_t least_code = 0;  // not 0
};

/// What a trigger on certain channels captures.
struct CaptureGroup {
  std::uint32_t trigger_mask = 0;
  std::uint32_t channel_mask = 0;
  std::uint32_t before_scans = 320;  // at most kCaptureBeforeLongest
  std::uint32_t after_scans = 640;   // 1..; with those before, by channels, at most kCaptureCodesMost

  std::uint32_t scans() const { return before_scans + after_scans; }
};

/// Configure, with its defaults filled in.
struct Settings {
  std::uint32_t scans_per_window = 32;      // 32, 64, 128, 256
  std::uint32_t line_bytes_per_s = 200000;  // 9,600..2,000,000
  std::uint32_t host_silence_ms = 1000;     // 100..60,000
  std::uint32_t events_per_s = 50;          // 1..1,000
  std::uint32_t capture_group_count = 1;
  std::array<CaptureGroup, 1 + kCaptureGroupsMax> capture_groups{};  // the first: all channels, for the other triggers
  std::uint32_t step_trigger_count = 0;
  std::array<StepTrigger, kStepTriggersMax> step_triggers{};
  std::uint32_t low_end_mask = 0;
  std::uint32_t ramp_channel_mask = 0;  // at most kRampChannelsMax
  std::uint32_t ramp_scans = 0;         // at most kRampMsLongest
};

/// 64 ms of all channels, 192 ms of 8.
inline constexpr std::uint32_t kCaptureCodesMost = 2048 * wire::kChannelCount;
/// The ring also has to hold what arrives until a trigger is certain and packing has caught up.
inline constexpr std::uint32_t kCaptureBeforeLongest = 512;  // 16 ms

inline constexpr std::uint32_t kRampChannelsMax = 8;
inline constexpr std::uint32_t kRampMs = 1200;
inline constexpr std::uint32_t kRampMsLongest = 10'000;

enum class LimitSide : std::uint8_t { kLow = 1, kHigh = 2 };  // of the schema's Side

struct ArmedLimit {
  std::uint8_t channel = 0;
  LimitSide side = LimitSide::kLow;
  std::int16_t code = 0;          // beyond it: an excursion
  std::int16_t release_code = 0;  // reaching it again ends the excursion; not beyond `code`
  std::int32_t keep_code = 0;     // an excursion reaching this is kept however short
  std::uint32_t merge_scans = 0;
  std::uint32_t least_scans = 0;
};

struct ArmedThreshold {
  std::uint8_t channel = 0;
  bool starts_ramp = false;
  std::int16_t code = 0;
};

/// Limits by channel, for counting; the defaults are beyond no code.
struct CountLimits {
  CountLimits() {
    low.fill(std::numeric_limits<std::int16_t>::min());
    high.fill(std::numeric_limits<std::int16_t>::max());
  }
  std::array<std::int16_t, wire::kChannelCount> low;
  std::array<std::int16_t, wire::kChannelCount> high;
};

struct ArmedSet {
  std::uint32_t set = 0;  // 0: nothing armed
  std::uint32_t limit_count = 0;
  std::uint32_t threshold_count = 0;
  std::array<ArmedLimit, kArmedLimitsMax> limits{};
  std::array<ArmedThreshold, kThresholdsMax> thresholds{};
  CountLimits counts;
};

std::expected<Settings, Refused> settings_from(const steadyrail_proto_Configure& message);

/// Fills `out`, or leaves it alone.
std::expected<void, Refused> armed_set_from(const steadyrail_proto_Arm& message, ArmedSet& out);

}  // namespace firmware
