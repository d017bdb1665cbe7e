// SPDX-License-Identifier: Apache-2.0
// What the jig drives in bench, and the keyed link that says whether it may.
#pragma once

#include <cstdint>

namespace firmware {

inline constexpr std::uint32_t kGateCount = 8;
/// Times of edges within any millisecond, at most: what a board's queue and its interrupt are laid out for.
inline constexpr std::uint32_t kEdgeTimesPerMillisecond = 24;
/// Two edges of one gate are at least so far apart: a board may load one a scan of 31.25 us, part of a scan ahead.
inline constexpr std::uint32_t kGateEdgeLeastUs = 40;

enum class Mode : std::uint8_t { kUnknown = 0, kObserve = 1, kBench = 2 };  // values of the schema's JigMode

/// Reads the keyed link. The link itself breaks the gate supply and the PS_ON# drive: this reading adds to that, it
/// does not replace it.
class ModeLink {
 public:
  virtual ~ModeLink() = default;
  virtual Mode read() = 0;
};

/// Gates as they stand from an instant on, bit n: gate n.
struct GateEdge {
  std::uint64_t scan = 0;
  std::uint8_t offset_256 = 0;  // into that scan, 1/256
  std::uint32_t gates = 0;
};

/// Load gates. All off from reset until the first edge.
class LoadGates {
 public:
  virtual ~LoadGates() = default;
  /// An edge to come, in order of time, less than 32 scans after the next scan to be taken plus lead_scans(). False
  /// when the board holds too many already; nothing has happened then.
  [[nodiscard]] virtual bool queue_edge(const GateEdge& edge) = 0;
  /// At once, and whatever was loaded is forgotten.
  virtual void switch_off() = 0;
  /// Scans by which an edge must be told ahead of the next scan to be taken, so that it happens where it is stamped: on
  /// a chip the hardware is ahead of the blocks by what has landed and not been taken.
  virtual std::uint32_t lead_scans() const { return 0; }
};

/// Pulls PS_ON# low through an open drain; released from reset until the first call.
class PsOnDriver {
 public:
  virtual ~PsOnDriver() = default;
  virtual void drive(bool on) = 0;
};

/// What the self-test's source is joined to.
struct SourceJoin {
  std::uint32_t outputs = 0;  // bit n: output n; 0: off
  std::uint8_t level = 0;     // 0 to 7
  bool weak = false;          // through the high resistance
};

/// The jig's own source, for a jig with nothing attached but its test plugs. Off from reset until the first call.
class TestSource {
 public:
  virtual ~TestSource() = default;
  virtual void join(const SourceJoin& to) = 0;
};

class Watchdog {
 public:
  virtual ~Watchdog() = default;
  /// Called once a block. The gates do not depend on it: their supply has its own time-out.
  virtual void feed() = 0;
};

}  // namespace firmware
