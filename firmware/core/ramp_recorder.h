// SPDX-License-Identifier: Apache-2.0
// Decimating capture: least and greatest code of every 8 scans, for as long as a supply takes to start. Nothing of it
// is kept: every 256 scans become a frame that goes on the line before captures, so that 1.2 s need no memory. Their
// channels are packed pair by pair, one pair a block, so that no block has to bear all of them.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "firmware/core/capture_ring.h"
#include "firmware/core/settings.h"
#include "firmware/core/telemetry.h"

namespace firmware {

inline constexpr std::uint32_t kScansPerPoint = 8;
inline constexpr std::uint32_t kPointsPerBlock = 32;
inline constexpr std::uint32_t kRampBeforeScans = kScansPerPoint * kPointsPerBlock;              // 8 ms
inline constexpr std::uint32_t kRampLagScans = 2 * kRampBeforeScans + 2 * wire::kScansPerBlock;  // more is a lag
// A trigger's points begin so far back, wait for a pair a block to be packed, and the next ones meanwhile.
static_assert(kRampLagScans + kRampBeforeScans / 2 + 2 * wire::kScansPerBlock <= kRingScans);
static_assert(kRampChannelsMax * wire::kScansPerBlock <= kRampBeforeScans, "one pair a block keeps pace");

class RampRecorder {
 public:
  /// `ramps` were taken before; 0 is none.
  RampRecorder(const CaptureRing& ring, Telemetry& telemetry, std::uint32_t ramps = 0)
      : ring_(ring), telemetry_(telemetry), ramps_(ramps) {}

  void begin(const Settings& settings) {
    channel_mask_ = settings.ramp_channel_mask;
    length_scans_ = settings.ramp_scans;
    end_scan_ = 0;
    next_trigger_scan_ = 0;
    telemetry_.put_raw_first(channel_mask_ != 0);
  }

  /// A threshold was passed, at `scan` on its far side: a ramp begins 8 ms before (up to 7 scans
  /// more), if none is being taken at that scan.
  void trigger(std::uint64_t scan, std::uint8_t channel);
  /// After the ring has taken a block: packs a pair of channels where points are due, two where it lags.
  void on_block();
  /// A gap or the end: what there is of it in whole points is sent, and the ramp ends.
  void close();

 private:
  bool taking() const { return end_scan_ != 0; }
  std::uint32_t points_left() const { return static_cast<std::uint32_t>((end_scan_ - next_scan_) / kScansPerPoint); }
  void start(std::uint64_t scan, std::uint8_t channel);
  void end();
  bool step(std::uint32_t points_most);
  void pack_pair(std::size_t channel);
  void pack_channel(std::size_t channel, std::span<const std::int16_t> low, std::span<const std::int16_t> high);
  void send();

  const CaptureRing& ring_;
  Telemetry& telemetry_;
  std::uint32_t ramps_;  // since boot
  std::uint32_t channel_mask_ = 0;
  std::uint32_t length_scans_ = 0;
  std::uint64_t trigger_scan_ = 0;
  std::uint64_t next_scan_ = 0;  // of the next point
  std::uint64_t end_scan_ = 0;   // 0: no ramp is being taken
  std::uint8_t channel_ = 0;
  std::uint64_t next_trigger_scan_ = 0;  // beyond the end of this ramp, whose rest is still being packed; 0: none
  std::uint8_t next_channel_ = 0;
  std::uint32_t points_ = 0;  // being packed, from next_scan_ on
  std::uint32_t left_ = 0;    // channels of theirs still to be packed
  PackedBody body_{};         // of those packed and not sent yet
};

}  // namespace firmware
