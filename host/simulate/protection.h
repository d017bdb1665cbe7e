// SPDX-License-Identifier: Apache-2.0
// What makes the supply switch itself off, and stay off until PS_ON# or the mains has been cycled.
#pragma once

#include <array>
#include <cstddef>

namespace host::simulate {

enum class Trip { kNone, kOverCurrent, kOverPower, kShort, kUnderVoltage, kOverVoltage };

/// Own engineering choices, not a published table.
struct ProtectionParameters {
  double rated_12v_a = 57;
  double rated_w = 690;
  double over_current = 1.3;  // of the rated +12 V current
  double over_current_s = 5e-3;
  double over_power = 1.25;
  double over_power_s = 20e-3;
  double short_share = 0.2;  // of nominal
  double short_s = 1e-3;
  double under_share = 0.8;
  double under_s = 2e-3;
  double over_share = 1.2;
  double over_s = 50e-6;
};

class Protection {
 public:
  static constexpr std::size_t kRails = 3;  // +12, +5, +3.3 V

  explicit Protection(const ProtectionParameters& parameters) : parameters_(parameters) {}
  /// One more stretch of `seconds`; volts as shares of nominal. Returns the first reason whose time has run out.
  Trip advance(const std::array<double, kRails>& shares, double amps_12v, double output_w, double seconds);
  void reset() { held_s_ = {}; }

 private:
  bool held(std::size_t index, bool violated, double limit_s, double seconds);

  ProtectionParameters parameters_;
  std::array<double, 5> held_s_{};
};

}  // namespace host::simulate
