// SPDX-License-Identifier: Apache-2.0
// Passes on the edges a timer stamped, and has those of PWR_OK, PS_ON# and AC-present captured.
#pragma once

#include <cstdint>

#include "firmware/core/capture_store.h"
#include "firmware/core/health.h"
#include "firmware/core/rate_limit.h"
#include "firmware/core/telemetry.h"
#include "firmware/hal/nonvolatile_store.h"
#include "firmware/hal/scan_source.h"

namespace firmware {

inline constexpr std::uint32_t kEdgesPerSecond = 200;  // told; more are counted as dropped events
inline constexpr std::uint32_t kEdgesBurst = 64;

class EdgeReporter {
 public:
  EdgeReporter(const NonVolatileStore& store, CaptureStore& captures, Telemetry& telemetry, Health& health)
      : store_(store), captures_(captures), telemetry_(telemetry), health_(health) {}

  void begin(std::uint64_t first_scan) { limit_.begin(first_scan); }
  /// `running` false: only the levels are kept up.
  void on_block(const ScanBlock& block, bool running);

 private:
  void tell(const LineEdge& edge);
  void capture(const LineEdge& edge);

  const NonVolatileStore& store_;
  CaptureStore& captures_;
  Telemetry& telemetry_;
  Health& health_;
  RateLimit limit_{kEdgesPerSecond, kEdgesBurst};
};

}  // namespace firmware
