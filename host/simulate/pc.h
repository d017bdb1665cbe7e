// SPDX-License-Identifier: Apache-2.0
// The PC and the person in front of it: switching on and off, locking up, the marker key, the reset.
#pragma once

#include <array>
#include <cstdint>

#include "host/simulate/pc_load.h"
#include "host/simulate/random.h"

namespace host::simulate {

struct PcParameters {
  bool present = true;         // false: a load bank in its place, nothing but the jig's gates draws current
  double hang_below_v = 11.0;  // at the graphics or processor load
  double hang_after_s = 50e-6;
  double hang_chance = 0.02;  // per stretch below for that long
  double freeze_every_s = 0;  // mean time between lock-ups of the PC's own making; 0: none
};

struct PcInputs {
  bool power_good = false;  // PWR_OK as the board reads it
  double standby_v = 0;
  double least_load_v = 0;  // lower of graphics-1 and processor-1
};

/// Programs run: not off, starting, in reset or hung.
bool works(PcState state);

class Pc {
 public:
  Pc(const PcParameters& parameters, const PcLoadParameters& load, std::uint64_t seed, bool running);
  void advance(const PcInputs& inputs, double seconds);
  /// Currents wanted at the end of the next scan at full voltage.
  const TapAmps& next_amps() { return load_.next_scan(); }
  bool holds_ps_on_low() const { return parameters_.present && wants_on_; }
  bool marker_pressed() const { return marker_left_s_ > 0; }
  PcState state() const { return load_.state(); }

 private:
  void follow_standby(double standby_v, double seconds);
  void follow_power_good(bool power_good, double seconds);
  bool locks_up(double least_load_v, double seconds);
  void attend(double seconds);

  PcParameters parameters_;
  PcLoad load_;
  Random random_;
  bool wants_on_;
  bool standby_alive_ = true;
  double standby_held_s_ = 0;  // how long +5VSB has contradicted `standby_alive_`
  double switch_in_s_ = -1;    // until `wants_on_` turns; negative: not pending
  double without_power_s_ = 0;
  double patience_s_;  // before the person cycles power
  double boot_left_s_ = 0;
  double below_s_ = 0;
  double freeze_in_s_ = -1;
  double marker_in_s_ = -1;
  double marker_left_s_ = 0;
  double reset_in_s_ = -1;
};

}  // namespace host::simulate
