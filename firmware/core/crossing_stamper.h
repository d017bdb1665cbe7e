// SPDX-License-Identifier: Apache-2.0
// Stamps the passing of armed thresholds with both bracketing codes. At or above a threshold counts as above.
#pragma once

#include <array>
#include <cstdint>

#include "firmware/core/health.h"
#include "firmware/core/ramp_recorder.h"
#include "firmware/core/rate_limit.h"
#include "firmware/core/scan_sums.h"
#include "firmware/core/settings.h"
#include "firmware/core/telemetry.h"

namespace firmware {

// Each threshold has so many of its own, so that a signal that lingers at one does not crowd out the others, and all
// share the rest. More are counted as dropped events.
inline constexpr std::uint32_t kCrossingsPerSecond = 10;
inline constexpr std::uint32_t kCrossingsBurst = 8;
inline constexpr std::uint32_t kSharedCrossingsPerSecond = 300;
inline constexpr std::uint32_t kSharedCrossingsBurst = 100;

class CrossingStamper {
 public:
  CrossingStamper(Telemetry& telemetry, Health& health) : telemetry_(telemetry), health_(health) {}

  /// `armed` must outlive the run.
  void begin(const ArmedSet& armed, std::uint64_t first_scan);
  /// A threshold that starts ramps and is passed upwards triggers `ramps`.
  void on_block(const ScanBlock& block, const ScanSums& sums, RampRecorder& ramps);
  /// A gap: what was passed within it is not stamped.
  void resume() {
    has_last_ = false;
    free_low_.fill(INT16_MAX);
    free_high_.fill(INT16_MIN);
  }

 private:
  void look_around(std::uint32_t channel_mask);
  void walk(const ScanBlock& block, std::uint32_t index, RampRecorder& ramps);
  void tell(std::uint32_t index, std::uint64_t scan_before, std::int16_t before, std::int16_t after);

  Telemetry& telemetry_;
  Health& health_;
  const ArmedSet* armed_ = nullptr;
  bool has_last_ = false;
  std::array<std::int16_t, wire::kChannelCount> last_{};  // codes of the scan before the block
  // Around each channel's last code no threshold is passed: within, none is looked at.
  std::array<std::int16_t, wire::kChannelCount> free_low_{};
  std::array<std::int16_t, wire::kChannelCount> free_high_{};
  std::array<RateLimit, kThresholdsMax> limits_{};
  RateLimit shared_limit_{kSharedCrossingsPerSecond, kSharedCrossingsBurst};
};

}  // namespace firmware
