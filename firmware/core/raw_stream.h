// SPDX-License-Identifier: Apache-2.0
// Streams the channels the host asked for, scan by scan, as far as the line carries it.
#pragma once

#include <cstdint>

#include "firmware/core/packed_scans.h"
#include "firmware/core/telemetry.h"
#include "firmware/hal/scan_source.h"

namespace firmware {

class RawStream {
 public:
  /// `scratch` is used during calls only.
  RawStream(Telemetry& telemetry, PackedBody& scratch) : telemetry_(telemetry), packed_(scratch) {}

  /// Bit n: channel n; 0: off.
  void select(std::uint32_t channel_mask) { channel_mask_ = channel_mask; }
  void on_block(const ScanBlock& block);

 private:
  Telemetry& telemetry_;
  std::uint32_t channel_mask_ = 0;
  PackedBody& packed_;
};

}  // namespace firmware
