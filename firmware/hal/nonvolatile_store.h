// SPDX-License-Identifier: Apache-2.0
// What outlives a reset: who this jig is, and which calibration it holds.
#pragma once

#include <array>
#include <cstdint>
#include <string_view>

#include "proto/wire/window.h"

namespace firmware {

/// Texts live as long as the store.
struct Identity {
  std::string_view jig_id;
  std::string_view firmware;
  std::string_view calibration_id;  // empty: none
  std::array<std::string_view, wire::kChannelCount> channel_names;
  /// By the schema's Line: the channel that sees it; entry 0 unused.
  std::array<std::uint8_t, 5> line_channels{};
  std::uint32_t scan_rate_hz = 32000;
  bool simulated = false;  // the samples come from a simulated supply
};

class NonVolatileStore {
 public:
  virtual ~NonVolatileStore() = default;
  virtual const Identity& identity() const = 0;
  /// Counts boots; a change tells the host that the scan index began again.
  virtual std::uint32_t boot_count() const = 0;
  /// The schema's ResetCause.
  virtual std::uint32_t reset_cause() const = 0;
};

}  // namespace firmware
