// SPDX-License-Identifier: Apache-2.0
// The supply's own control: standby, start-up, PWR_OK, warning before the rails go, latched trips.
//
//   no-standby -> idle -> delay (T1') -> ramp (T2) -> settle (T3) -> on
//                  ^------------------ PS_ON# high, primary capacitor low
//   on, settle, ramp --- protection ---> latched --- PS_ON# high ---> idle
#pragma once

#include <cstdint>

#include "host/simulate/mains.h"
#include "host/simulate/protection.h"
#include "host/simulate/rail_set.h"
#include "host/simulate/random.h"

namespace host::simulate {

enum class SupplyState { kNoStandby, kIdle, kDelay, kRamp, kSettle, kOn, kLatched };

struct SequenceParameters {
  BulkParameters bulk;
  ProtectionParameters protection;
  double warning_s = 0.4e-3;        // PWR_OK low to converter off after a trip
  double commanded_off_s = 1.2e-3;  // PWR_OK low to converter off after PS_ON#
  double standby_ramp_s = 20e-3;
};

/// What the control sees at the end of a scan.
struct SequenceInputs {
  bool ps_on_low = false;
  double mains_level = 1;
  std::array<double, Protection::kRails> shares{};  // +12, +5, +3.3 V at the supply, of nominal
  double amps_12v = 0;
  double main_w = 0;
  double standby_w = 0;
};

class PowerSequence {
 public:
  /// Delays are drawn from the seed: T1' 50-120 ms, ramp 5-12 ms, PWR_OK 100-250 ms after the rails.
  PowerSequence(const SequenceParameters& parameters, std::uint64_t seed, bool running);
  void advance(const SequenceInputs& inputs, double seconds);

  SupplyState state() const { return state_; }
  Trip trip() const { return trip_; }        // of the latched state
  bool power_good() const { return good_; }  // what the PWR_OK output is driven to
  double main_scale() const { return main_scale_; }
  double standby_scale() const { return standby_scale_; }
  bool main_off() const { return main_scale_ == 0; }
  bool standby_off() const { return standby_scale_ == 0; }
  double bulk_v() const { return bulk_.volts(); }

 private:
  void enter(SupplyState state);
  void stop_after(double seconds, SupplyState next);
  void run_standby(double seconds);
  void run_main(const SequenceInputs& inputs, double seconds);
  void watch(const SequenceInputs& inputs, double seconds);

  SequenceParameters parameters_;
  BulkCapacitor bulk_;
  Protection protection_;
  double delay_s_;
  double ramp_s_;
  double good_delay_s_;
  SupplyState state_ = SupplyState::kIdle;
  SupplyState after_stop_ = SupplyState::kIdle;
  Trip trip_ = Trip::kNone;
  double in_state_s_ = 0;
  double stop_in_s_ = -1;  // negative: no stop under way
  double main_scale_ = 0;
  double standby_scale_ = 1;
  bool good_ = false;
  double good_wait_s_ = 0;  // left until PWR_OK may return
};

}  // namespace host::simulate
