// SPDX-License-Identifier: Apache-2.0
// The host's clock as a session sees it: the real one, or one that follows a simulated jig so that runs repeat.
#pragma once

#include <cstdint>

#include "host/model/units.h"

namespace host::link {

class HostClock {
 public:
  virtual ~HostClock() = default;
  virtual model::HostTime now() = 0;
  /// When the time mark stamped `scan`, just received, is said to have arrived.
  virtual model::HostTime mark_arrival(std::uint64_t scan) = 0;
};

class RealClock : public HostClock {
 public:
  RealClock() = default;
  /// As if it were `starts_at` now.
  explicit RealClock(model::HostTime starts_at);
  model::HostTime now() override;
  model::HostTime mark_arrival(std::uint64_t scan) override;

 private:
  std::chrono::microseconds ahead_{0};
};

/// Device time after a fixed start, plus a one-sided delay drawn from the seed and the scan alone (0.2 ms and an
/// exponential of mean 0.3 ms, cut at 5 ms). now() is the latest arrival, so that a session's notes repeat too.
class SimulatedClock : public HostClock {
 public:
  SimulatedClock(model::HostTime started, double scan_rate_hz, std::uint64_t seed);
  model::HostTime now() override { return latest_; }
  model::HostTime mark_arrival(std::uint64_t scan) override;

 private:
  model::HostTime started_;
  model::HostTime latest_;
  double scan_rate_hz_;
  std::uint64_t seed_;
};

}  // namespace host::link
