// SPDX-License-Identifier: Apache-2.0
#include "host/link/host_clock.h"

#include <algorithm>
#include <chrono>
#include <cmath>

namespace host::link {
namespace {

// SplitMix64 (Steele, Lea and Flood, OOPSLA 2014): one well-mixed number from one counter.
std::uint64_t mix(std::uint64_t value) {
  value += 0x9E3779B97F4A7C15u;
  value = (value ^ (value >> 30)) * 0xBF58476D1CE4E5B9u;
  value = (value ^ (value >> 27)) * 0x94D049BB133111EBu;
  return value ^ (value >> 31);
}

}  // namespace

RealClock::RealClock(model::HostTime starts_at) {
  ahead_ = starts_at.since_epoch - now().since_epoch;
}

model::HostTime RealClock::now() {
  const auto told = std::chrono::system_clock::now().time_since_epoch();
  return model::HostTime{std::chrono::duration_cast<std::chrono::microseconds>(told) + ahead_};
}

model::HostTime RealClock::mark_arrival(std::uint64_t) {
  return now();
}

SimulatedClock::SimulatedClock(model::HostTime started, double scan_rate_hz, std::uint64_t seed)
    : started_(started), latest_(started), scan_rate_hz_(scan_rate_hz), seed_(seed) {}

model::HostTime SimulatedClock::mark_arrival(std::uint64_t scan) {
  constexpr double kDelayLeastUs = 200;
  constexpr double kDelayMeanUs = 300;
  constexpr double kDelayMostUs = 5000;
  const double uniform = (static_cast<double>(mix(seed_ ^ mix(scan)) >> 11) + 0.5) * 0x1p-53;
  const double delay_us = std::min(kDelayMostUs, kDelayLeastUs - kDelayMeanUs * std::log(uniform));
  const double device_us = static_cast<double>(scan) / scan_rate_hz_ * 1e6;
  const model::HostTime arrived{started_.since_epoch + std::chrono::microseconds(std::llround(device_us + delay_us))};
  latest_ = std::max(latest_, arrived);
  return arrived;
}

}  // namespace host::link
