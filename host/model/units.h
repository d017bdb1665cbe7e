// SPDX-License-Identifier: Apache-2.0
// Quantities that must not be mixed: microvolts, microamps, and the two clocks.
#pragma once

#include <chrono>
#include <compare>
#include <cstdint>

namespace host::model {

/// Volts at a connector in whole microvolts; 32 bits span +-2,147 V. Verdicts compare these, never floating point.
struct Microvolts {
  std::int32_t value = 0;
  constexpr explicit Microvolts(std::int32_t microvolts = 0) : value(microvolts) {}
  constexpr auto operator<=>(const Microvolts&) const = default;
  constexpr Microvolts operator+(Microvolts other) const { return Microvolts{value + other.value}; }
  constexpr Microvolts operator-(Microvolts other) const { return Microvolts{value - other.value}; }
  constexpr double volts() const { return value * 1e-6; }
};

/// Nearest whole microvolt; the value must lie within +-2,147 V.
constexpr Microvolts to_microvolts(double volts) {
  return Microvolts{static_cast<std::int32_t>(volts * 1e6 + (volts < 0 ? -0.5 : 0.5))};
}

/// Index of a scan since the jig's boot: the device's clock. Host times are another type and never subtract from it.
struct ScanIndex {
  std::uint64_t value = 0;
  constexpr explicit ScanIndex(std::uint64_t index = 0) : value(index) {}
  constexpr auto operator<=>(const ScanIndex&) const = default;
};

/// UTC of the recording host, microseconds since 1970.
struct HostTime {
  std::chrono::microseconds since_epoch{};
  constexpr auto operator<=>(const HostTime&) const = default;
};

}  // namespace host::model
