// SPDX-License-Identifier: Apache-2.0
// The seam between a simulated supply and the virtual jig: a stream socket carrying blocks of 32 scans one way and the
// jig's outputs the other, in lock-step. Host byte order: both ends run on one machine. Not a wire format of the jig.
//
//   simulator                                   virtual jig
//   ScanBlock n  (+ its edges)  ------------->  waits until `commands_expected` host commands have arrived,
//                                               handles them, then acquires the block
//                <-------------  Outputs        gates, their edges and PS_ON# from `from_scan` on, a block ahead
//
// The simulator sends block n+1 only after the Outputs of block n, so one seed gives one byte stream at any speed.
// `commands_expected` is the number of host frames (sound ones) sent since the connection opened. End of file on the
// socket ends the jig after it has flushed what it holds.
#pragma once

#include <array>
#include <cstdint>

#include "proto/wire/window.h"

namespace wire {

inline constexpr std::uint32_t kScanBlockMagic = 0x53524431;
inline constexpr std::size_t kScanEdgesMax = 64;

struct ScanEdge {
  std::uint8_t line;         // proto Line: PWR_OK, PS_ON#, AC-present, marker
  std::uint8_t high;         // level after the edge
  std::uint16_t offset;      // scan within the block, 0..31
  std::uint16_t offset_256;  // into that scan, 0..255
  std::uint16_t reserved;
  std::uint32_t pulse_ns;  // latched glitch width; 0: a lasting edge
};

struct ScanBlockHeader {
  std::uint32_t magic = kScanBlockMagic;
  std::uint32_t edge_count = 0;  // ScanEdge entries that follow the codes
  std::uint64_t first_scan = 0;
  std::uint32_t commands_expected = 0;
  std::uint32_t scans_lost = 0;  // the simulated converter skipped this many scans before this block (fault)
};

/// Codes of one block, scan by scan, channels in order; an int16 is the converter's offset-binary code minus 32,768.
using ScanCodes = std::array<std::array<std::int16_t, kChannelCount>, kScansPerBlock>;

inline constexpr std::size_t kScanGateEdgesMax = 28;

/// Gates as they stand from an instant within the block on.
struct ScanGateEdge {
  std::uint16_t offset = 0;     // scan within the block, 0..31
  std::uint8_t offset_256 = 0;  // into that scan
  std::uint8_t gates = 0;
};

struct JigOutputs {
  std::uint64_t from_scan = 0;
  std::uint32_t gates = 0;  // at from_scan
  std::uint32_t ps_on_driven = 0;
  std::uint32_t edge_count = 0;
  std::array<ScanGateEdge, kScanGateEdgesMax> edges{};  // in order of time
  std::uint32_t source_outputs = 0;                     // what the self-test's source is joined to (link.proto)
  std::uint32_t source_level = 0;
  std::uint32_t source_weak = 0;
};

}  // namespace wire
