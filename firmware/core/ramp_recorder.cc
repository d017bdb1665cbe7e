// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/ramp_recorder.h"

#include <algorithm>
#include <array>
#include <bit>

#include "firmware/core/code_pair.h"

namespace firmware {

void RampRecorder::trigger(std::uint64_t scan, std::uint8_t channel) {
  if (channel_mask_ == 0) return;
  if (!taking()) {
    start(scan, channel);
  } else if (scan >= end_scan_ && next_trigger_scan_ == 0) {
    next_trigger_scan_ = scan;
    next_channel_ = channel;
  }
}

void RampRecorder::start(std::uint64_t scan, std::uint8_t channel) {
  if (++ramps_ == 0) ++ramps_;
  trigger_scan_ = scan;
  channel_ = channel;
  next_scan_ = std::max(ring_.first_scan(), scan - std::min<std::uint64_t>(scan, kRampBeforeScans));
  next_scan_ -= (next_scan_ - ring_.first_scan()) % kScansPerPoint;  // points never wrap in the ring
  left_ = 0;
  end_scan_ = next_scan_ + length_scans_ / kScansPerPoint * kScansPerPoint;
}

void RampRecorder::end() {
  end_scan_ = 0;
  if (next_trigger_scan_ == 0) return;
  start(next_trigger_scan_, next_channel_);
  next_trigger_scan_ = 0;
}

void RampRecorder::on_block() {
  const std::uint32_t steps = ring_.next_scan() > next_scan_ + kRampLagScans ? 2 : 1;
  for (std::uint32_t k = 0; k < steps && taking(); ++k) step(kPointsPerBlock);
}

void RampRecorder::close() {
  // What is held: points being packed, and at most a ring of others.
  constexpr std::uint32_t kStepsMost = (kRingScans / kRampBeforeScans + 1) * kRampChannelsMax;
  for (std::uint32_t k = 0; k < kStepsMost && taking(); ++k) {
    const auto held = static_cast<std::uint32_t>((ring_.next_scan() - next_scan_) / kScansPerPoint);
    if (!step(std::min(held, kPointsPerBlock))) break;
  }
  end_scan_ = 0;
  next_trigger_scan_ = 0;
}

// False when no points are due.
bool RampRecorder::step(std::uint32_t points_most) {
  if (next_scan_ < ring_.first_scan()) {  // overtaken: the host sees that it ends early
    end();
    return false;
  }
  if (left_ == 0) {
    points_ = std::min(points_left(), points_most);
    if (points_ == 0 || next_scan_ + points_ * kScansPerPoint > ring_.next_scan()) return false;
    left_ = channel_mask_;
    body_.channel_mask = 0;
    body_.bytes = 0;
  }
  pack_pair(static_cast<std::size_t>(std::countr_zero(left_)) & ~std::size_t{1});
  if (left_ != 0) return true;
  send();
  next_scan_ += points_ * kScansPerPoint;
  if (points_left() == 0) end();
  return true;
}

void RampRecorder::pack_pair(std::size_t channel) {
  std::array<std::array<std::int16_t, kPointsPerBlock>, 2> low;
  std::array<std::array<std::int16_t, kPointsPerBlock>, 2> high;
  for (std::uint32_t p = 0; p < points_; ++p) {
    const CaptureRing::Scan* scans = &ring_.at(next_scan_ + p * kScansPerPoint);
    CodePair least = code_pair(&scans[0][channel]);
    CodePair most = least;
#pragma GCC unroll 8
    for (std::uint32_t s = 1; s < kScansPerPoint; ++s) {
      const CodePair codes = code_pair(&scans[s][channel]);
      least = lesser_pair(codes, least);
      most = greater_pair(codes, most);
    }
    low[0][p] = first_of(least);
    low[1][p] = second_of(least);
    high[0][p] = first_of(most);
    high[1][p] = second_of(most);
  }
  for (std::size_t k = 0; k < 2; ++k) {
    if ((left_ >> (channel + k) & 1) != 0) {
      pack_channel(channel + k, std::span(low[k]).first(points_), std::span(high[k]).first(points_));
    }
  }
}

void RampRecorder::pack_channel(std::size_t channel, std::span<const std::int16_t> low,
                                std::span<const std::int16_t> high) {
  if (kPackedBodyBytesMax - body_.bytes < 2 * wire::kCaptureColumnBytesMax) {
    send();
    body_.channel_mask = 0;
    body_.bytes = 0;
  }
  for (const auto& column : {low, high}) {
    body_.bytes += wire::encode_capture_column(column, std::span(body_.body).subspan(body_.bytes));
  }
  body_.channel_mask |= std::uint32_t{1} << channel;
  left_ &= ~(std::uint32_t{1} << channel);
}

void RampRecorder::send() {
  telemetry_.ramp({.ramp = ramps_,
                   .trigger_scan = trigger_scan_,
                   .trigger_channel = channel_,
                   .first_scan = next_scan_,
                   .scans_per_point = kScansPerPoint,
                   .point_count = points_,
                   .channel_mask = body_.channel_mask,
                   .points_left = points_left() - points_},
                  body_);
}

}  // namespace firmware
