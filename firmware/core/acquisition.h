// SPDX-License-Identifier: Apache-2.0
// Everything that happens to a block of scans while a run lasts.
#pragma once

#include <cstdint>

#include "firmware/core/health.h"
#include "firmware/core/scan_sums.h"
#include "firmware/core/settings.h"
#include "firmware/core/telemetry.h"
#include "firmware/core/window_accumulator.h"
#include "firmware/hal/scan_source.h"

namespace firmware {

class Acquisition {
 public:
  Acquisition(Health& health, WindowAccumulator& windows, Telemetry& telemetry)
      : health_(health), windows_(windows), telemetry_(telemetry) {}

  /// Begins a run with the next block. `settings` and `armed` must stay unchanged until end().
  void begin(const Settings& settings, const ArmedSet& armed);

  /// Closes what is open, as at a gap.
  void end();

  /// Takes the next block. Blocks come in order; a first scan beyond the expected one is a gap.
  void on_block(const ScanBlock& block);

 private:
  void close_stretch();

  Health& health_;
  WindowAccumulator& windows_;
  Telemetry& telemetry_;
  const ArmedSet* armed_ = nullptr;  // null: no run
  ScanSums sums_{};
};

}  // namespace firmware
