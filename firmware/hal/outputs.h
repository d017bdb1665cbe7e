// SPDX-License-Identifier: Apache-2.0
// What the jig drives in bench, and the keyed link that says whether it may.
#pragma once

#include <cstdint>

namespace firmware {

enum class Mode : std::uint8_t { kUnknown = 0, kObserve = 1, kBench = 2 };  // values of the schema's JigMode

/// Reads the keyed link. The link itself breaks the gate supply and the PS_ON# drive: this reading adds to that, it
/// does not replace it.
class ModeLink {
 public:
  virtual ~ModeLink() = default;
  virtual Mode read() = 0;
};

/// Load gates, bit n: gate n on. All off from reset until the first call.
class LoadGates {
 public:
  virtual ~LoadGates() = default;
  /// `gates` from `from_scan` on, which lies at or after the next scan to be taken. All off is done at once.
  virtual void set(std::uint32_t gates, std::uint64_t from_scan) = 0;
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

class Watchdog {
 public:
  virtual ~Watchdog() = default;
  /// Called once a block. The gates do not depend on it: their supply has its own time-out.
  virtual void feed() = 0;
};

}  // namespace firmware
