// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/ramp_recorder.h"

#include <algorithm>
#include <array>

namespace firmware {

void RampRecorder::trigger(std::uint64_t scan, std::uint8_t channel) {
  if (channel_mask_ == 0 || taking()) return;
  if (++ramps_ == 0) ++ramps_;
  trigger_scan_ = scan;
  channel_ = channel;
  next_scan_ = std::max(ring_.first_scan(), scan - std::min<std::uint64_t>(scan, kRampBeforeScans));
  next_scan_ -= (next_scan_ - ring_.first_scan()) % kScansPerPoint;  // points never wrap in the ring
  end_scan_ = next_scan_ + length_scans_ / kScansPerPoint * kScansPerPoint;
}

void RampRecorder::on_block() {
  // The ring holds four blocks of points and lags by less than two.
  for (std::uint32_t k = 0; k < kRingScans / kRampBeforeScans && taking(); ++k) {
    const std::uint32_t points = std::min(points_left(), kPointsPerBlock);
    if (next_scan_ + points * kScansPerPoint > ring_.next_scan()) return;
    send(points);
  }
}

void RampRecorder::close() {
  if (!taking()) return;
  const auto held = static_cast<std::uint32_t>((ring_.next_scan() - next_scan_) / kScansPerPoint);
  if (held != 0) send(std::min({held, points_left(), kPointsPerBlock}));
  end_scan_ = 0;
}

void RampRecorder::send(std::uint32_t points) {
  const std::uint64_t first_scan = next_scan_;
  std::uint32_t left = channel_mask_;
  while (left != 0) {
    const std::uint32_t after = pack(left, points);
    next_scan_ = first_scan + points * kScansPerPoint;
    telemetry_.ramp({.ramp = ramps_,
                     .trigger_scan = trigger_scan_,
                     .trigger_channel = channel_,
                     .first_scan = first_scan,
                     .scans_per_point = kScansPerPoint,
                     .point_count = points,
                     .channel_mask = scratch_.channel_mask,
                     .points_left = points_left()},
                    scratch_);
    next_scan_ = first_scan;
    left = after;
  }
  next_scan_ = first_scan + points * kScansPerPoint;
  if (points_left() == 0) end_scan_ = 0;
}

// The channels of `mask` that fit a frame, lowest first; returns those left over.
std::uint32_t RampRecorder::pack(std::uint32_t mask, std::uint32_t points) {
  scratch_.channel_mask = 0;
  scratch_.bytes = 0;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    if ((mask >> c & 1) == 0) continue;
    if (kPackedBodyBytesMax - scratch_.bytes < 2 * wire::kCaptureColumnBytesMax) break;
    std::array<std::int16_t, kPointsPerBlock> low{};
    std::array<std::int16_t, kPointsPerBlock> high{};
    for (std::uint32_t p = 0; p < points; ++p) {
      const CaptureRing::Scan* scans = &ring_.at(next_scan_ + p * kScansPerPoint);
      std::int32_t least = scans[0][c];
      std::int32_t most = least;
#pragma GCC unroll 8
      for (std::uint32_t s = 1; s < kScansPerPoint; ++s) {
        const std::int32_t code = scans[s][c];
        least = std::min(least, code);
        most = std::max(most, code);
      }
      low[p] = static_cast<std::int16_t>(least);
      high[p] = static_cast<std::int16_t>(most);
    }
    for (const auto& column : {low, high}) {
      scratch_.bytes +=
          wire::encode_capture_column({column.data(), points}, std::span(scratch_.body).subspan(scratch_.bytes));
    }
    scratch_.channel_mask |= std::uint32_t{1} << c;
  }
  return mask & ~scratch_.channel_mask;
}

}  // namespace firmware
