// SPDX-License-Identifier: Apache-2.0
// Everything that happens to a block of scans while a run lasts.
#pragma once

#include <cstdint>
#include <span>

#include "firmware/core/capture_ring.h"
#include "firmware/core/capture_store.h"
#include "firmware/core/crossing_stamper.h"
#include "firmware/core/edge_reporter.h"
#include "firmware/core/excursion_reporter.h"
#include "firmware/core/health.h"
#include "firmware/core/ramp_recorder.h"
#include "firmware/core/raw_stream.h"
#include "firmware/core/scan_sums.h"
#include "firmware/core/settings.h"
#include "firmware/core/step_reporter.h"
#include "firmware/core/telemetry.h"
#include "firmware/core/window_accumulator.h"
#include "firmware/hal/nonvolatile_store.h"
#include "firmware/hal/scan_source.h"

namespace firmware {

class Acquisition {
 public:
  Acquisition(const NonVolatileStore& store, Health& health, WindowAccumulator& windows, CaptureRing& ring,
              CaptureStore& captures, Telemetry& telemetry, std::uint32_t numbered = 0);

  /// Begins a run with the next block. `armed` must stay unchanged until end().
  void begin(const Settings& settings, const ArmedSet& armed);

  /// Closes what is open, as at a gap.
  void end();

  /// Channels with a code at an end of the range in the latest block; all of them when nobody has looked.
  std::uint32_t clipped_mask() const { return armed_ == nullptr ? kAllChannels : sums_.clipped_mask; }

  /// Of the latest block; null without a run.
  const ScanSums* sums() const { return armed_ == nullptr ? nullptr : &sums_; }

  /// Whether every channel stayed within its bounds in the latest block of a run.
  bool within(std::span<const std::int32_t> least, std::span<const std::int32_t> most) const;

  void stream_raw(std::uint32_t channel_mask) { raw_.select(channel_mask); }

  /// Takes the next block. Blocks come in order; a first scan beyond the expected one is a gap.
  void on_block(const ScanBlock& block);

 private:
  static constexpr std::uint32_t kAllChannels = (std::uint32_t{1} << wire::kChannelCount) - 1;

  void close_stretch();

  Health& health_;
  WindowAccumulator& windows_;
  CaptureRing& ring_;
  CaptureStore& captures_;
  ExcursionReporter excursions_;
  StepReporter steps_;
  CrossingStamper crossings_;
  EdgeReporter edges_;
  RampRecorder ramps_;
  PackedBody scratch_{};
  RawStream raw_;
  const ArmedSet* armed_ = nullptr;  // null: no run
  ScanSums sums_{};
};

}  // namespace firmware
