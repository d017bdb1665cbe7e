// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/pc.h"

namespace host::simulate {
namespace {

constexpr double kBootS = 1.0;
constexpr double kOffS = 1.0;  // how long the power key stays off

/// Counts a pending time down; true in the step in which it runs out.
bool runs_out(double& left_s, double seconds) {
  if (left_s < 0) return false;
  left_s -= seconds;
  return left_s < 0;
}

}  // namespace

bool works(PcState state) {
  return state == PcState::kDesktop || state == PcState::kMenu || state == PcState::kGame;
}

Pc::Pc(const PcParameters& parameters, const PcLoadParameters& load, std::uint64_t seed, bool running)
    : parameters_(parameters), load_(load, seed), random_(seed, 6), wants_on_(running) {
  constexpr double kPowerKeyAtS = 0.2;
  patience_s_ = random_.uniform(3, 5);
  if (!running) switch_in_s_ = kPowerKeyAtS;
  if (parameters_.freeze_every_s > 0) freeze_in_s_ = random_.exponential_of_mean(parameters_.freeze_every_s);
  load_.enter(running && parameters_.present ? PcState::kDesktop : PcState::kOff);
}

void Pc::follow_standby(double standby_v, double seconds) {
  constexpr double kDeadV = 4.0;
  constexpr double kDeadAfterS = 5e-3;
  constexpr double kAliveV = 4.6;
  constexpr double kAliveAfterS = 0.2;
  const bool contradicts = standby_alive_ ? standby_v < kDeadV : standby_v > kAliveV;
  standby_held_s_ = contradicts ? standby_held_s_ + seconds : 0;
  if (standby_held_s_ <= (standby_alive_ ? kDeadAfterS : kAliveAfterS)) return;
  standby_alive_ = !standby_alive_;
  standby_held_s_ = 0;
  wants_on_ = false;
  switch_in_s_ = standby_alive_ ? random_.uniform(1, 2) : -1;
}

void Pc::follow_power_good(bool power_good, double seconds) {
  if (!power_good) {
    if (load_.state() != PcState::kOff) load_.enter(wants_on_ ? PcState::kReset : PcState::kOff);
    without_power_s_ = wants_on_ ? without_power_s_ + seconds : 0;
    if (without_power_s_ > patience_s_) {  // latched off: the person cycles the power key
      without_power_s_ = 0;
      wants_on_ = false;
      load_.enter(PcState::kOff);
      switch_in_s_ = kOffS;
    }
    return;
  }
  without_power_s_ = 0;
  if (load_.state() == PcState::kOff || load_.state() == PcState::kReset) {
    load_.enter(PcState::kBoot);
    boot_left_s_ = kBootS;
  }
  if (load_.state() == PcState::kBoot && runs_out(boot_left_s_, seconds)) load_.enter(PcState::kDesktop);
}

bool Pc::locks_up(double least_load_v, double seconds) {
  const bool was_below = below_s_ > parameters_.hang_after_s;
  below_s_ = least_load_v < parameters_.hang_below_v ? below_s_ + seconds : 0;
  const bool stretch_begins = !was_below && below_s_ > parameters_.hang_after_s;
  if (stretch_begins && random_.chance(parameters_.hang_chance)) return true;
  if (!runs_out(freeze_in_s_, seconds)) return false;
  freeze_in_s_ = random_.exponential_of_mean(parameters_.freeze_every_s);
  return true;
}

// The person sees a PC that stands still, presses the marker key, and a little later the reset.
void Pc::attend(double seconds) {
  constexpr double kPressS = 0.1;
  if (marker_left_s_ > 0) marker_left_s_ -= seconds;
  if (runs_out(marker_in_s_, seconds)) marker_left_s_ = kPressS;
  if (runs_out(reset_in_s_, seconds) && load_.state() == PcState::kHung) {
    load_.enter(PcState::kBoot);
    boot_left_s_ = kBootS;
  }
}

void Pc::advance(const PcInputs& inputs, double seconds) {
  if (!parameters_.present) return;
  if (runs_out(switch_in_s_, seconds)) wants_on_ = true;
  follow_standby(inputs.standby_v, seconds);
  follow_power_good(inputs.power_good, seconds);
  attend(seconds);
  if (!works(load_.state()) || !locks_up(inputs.least_load_v, seconds)) return;
  load_.enter(PcState::kHung);
  marker_in_s_ = random_.uniform(2, 4);
  reset_in_s_ = marker_in_s_ + random_.uniform(1.5, 3);
}

}  // namespace host::simulate
