// SPDX-License-Identifier: Apache-2.0
// Where scans come from: a converter path on the chip, a socket in the virtual jig.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "proto/wire/scan_stream.h"

namespace firmware {

/// A level change stamped by a timer, finer than the scans.
struct LineEdge {
  std::uint8_t line = 0;        // schema's Line
  bool high = false;            // level after the edge
  std::uint8_t offset_256 = 0;  // into its scan, 1/256
  std::uint64_t scan = 0;
  std::uint32_t pulse_ns = 0;  // width of a latched glitch; 0: a lasting edge
};

/// The unit of acquisition: 32 consecutive scans of every channel, and what happened around them.
struct ScanBlock {
  std::uint64_t first_scan = 0;
  std::uint32_t scans_lost = 0;  // right before this block, already contained in first_scan
  wire::ScanCodes codes{};
  std::uint32_t edge_count = 0;
  std::array<LineEdge, wire::kScanEdgesMax> edges{};
};

class ScanSource {
 public:
  virtual ~ScanSource() = default;
  /// The next finished block, or null when none is ready. Valid until the next call. Never waits on the chip.
  virtual const ScanBlock* take_block() = 0;
};

}  // namespace firmware
