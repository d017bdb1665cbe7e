// SPDX-License-Identifier: Apache-2.0
#include "host/app/configure.h"

#include <algorithm>
#include <cmath>

#include "proto/wire/window.h"

namespace host::app {
namespace {

constexpr std::uint32_t kBitsPerByte = 10;      // on the line: start, eight data, stop
constexpr double kWindowShareOfLine = 0.6;      // the rest is for events, captures and answers; own choice
constexpr double kBytesPerChannelWindow = 4.4;  // upper end of what the codec needs under a gaming load; measured
constexpr std::uint32_t kScansPerWindow[] = {32, 64, 128, 256};
constexpr double kLeastStepA = 2;       // smaller load steps trigger nothing; own choice
constexpr double kStepNoiseFactor = 6;  // of the deviation of a difference of two means of 16
constexpr double kMeanScans = 16;

std::uint32_t scans_per_window(double scan_rate_hz, double line_bytes_per_s) {
  for (const std::uint32_t scans : kScansPerWindow) {
    const double needed = wire::kChannelCount * scan_rate_hz / scans * kBytesPerChannelWindow;
    if (needed <= kWindowShareOfLine * line_bytes_per_s) return scans;
  }
  return kScansPerWindow[std::size(kScansPerWindow) - 1];  // the chip merges further as it must
}

}  // namespace

steadyrail::proto::Configure configuration(const model::Jig& jig, std::uint32_t baud) {
  steadyrail::proto::Configure out;
  const std::uint32_t line_bytes_per_s = baud / kBitsPerByte;
  out.set_line_bytes_per_s(line_bytes_per_s);
  out.set_scans_per_window(scans_per_window(jig.scan_rate_hz(), line_bytes_per_s));
  for (const model::JigChannel& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_CURRENT || channel.per_code == 0) continue;
    const double least = std::max(kLeastStepA, kStepNoiseFactor * channel.noise_rms * std::sqrt(2 / kMeanScans));
    steadyrail::proto::StepTrigger& trigger = *out.add_step_triggers();
    trigger.set_channel(static_cast<std::uint32_t>(channel.index));
    trigger.set_least_code(static_cast<std::uint32_t>(std::ceil(least / std::abs(channel.per_code))));
  }
  return out;
}

}  // namespace host::app
