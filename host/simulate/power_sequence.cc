// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/power_sequence.h"

#include <algorithm>

namespace host::simulate {

PowerSequence::PowerSequence(const SequenceParameters& parameters, std::uint64_t seed, bool running)
    : parameters_(parameters), bulk_(parameters.bulk), protection_(parameters.protection) {
  Random random(seed, 5);
  delay_s_ = random.uniform(0.050, 0.120);
  ramp_s_ = random.uniform(0.005, 0.012);
  good_delay_s_ = random.uniform(0.100, 0.250);
  if (running) {
    state_ = SupplyState::kOn;
    main_scale_ = 1;
    good_ = true;
  }
}

void PowerSequence::enter(SupplyState state) {
  state_ = state;
  in_state_s_ = 0;
  if (state == SupplyState::kDelay) trip_ = Trip::kNone;
  if (state == SupplyState::kRamp) protection_.reset();
  if (state == SupplyState::kSettle) good_wait_s_ = good_delay_s_;
}

void PowerSequence::stop_after(double seconds, SupplyState next) {
  good_ = false;
  if (stop_in_s_ >= 0) return;
  stop_in_s_ = seconds;
  after_stop_ = next;
}

void PowerSequence::run_standby(double seconds) {
  const bool possible = standby_scale_ > 0 ? bulk_.volts() > parameters_.bulk.standby_stop_v
                                           : bulk_.volts() > 1.25 * parameters_.bulk.standby_stop_v;
  standby_scale_ = possible ? std::min(1.0, standby_scale_ + seconds / parameters_.standby_ramp_s) : 0;
}

// PWR_OK and the reasons to stop, while the converter delivers.
void PowerSequence::watch(const SequenceInputs& inputs, double seconds) {
  if (state_ != SupplyState::kRamp) {
    const Trip trip = protection_.advance(inputs.shares, inputs.amps_12v, inputs.main_w, seconds);
    if (trip != Trip::kNone && stop_in_s_ < 0) {
      trip_ = trip;
      stop_after(parameters_.warning_s, SupplyState::kLatched);
    }
  }
  if (bulk_.volts() < parameters_.bulk.stop_v) {
    stop_in_s_ = -1;
    stop_after(0, SupplyState::kIdle);
  } else if (!inputs.ps_on_low) {
    stop_after(parameters_.commanded_off_s, SupplyState::kIdle);
  }
  if (bulk_.volts() < parameters_.bulk.warn_v) {
    good_ = false;
    good_wait_s_ = good_delay_s_;  // PWR_OK returns no sooner than after a start
  }
}

void PowerSequence::run_main(const SequenceInputs& inputs, double seconds) {
  constexpr double kRestartV = 350;
  switch (state_) {
    case SupplyState::kNoStandby:
      if (standby_scale_ == 1) enter(SupplyState::kIdle);
      break;
    case SupplyState::kIdle:
      if (inputs.ps_on_low && bulk_.volts() > kRestartV) enter(SupplyState::kDelay);
      break;
    case SupplyState::kDelay:
      if (!inputs.ps_on_low) enter(SupplyState::kIdle);
      if (in_state_s_ >= delay_s_) enter(SupplyState::kRamp);
      break;
    case SupplyState::kRamp:
      main_scale_ = std::min(1.0, main_scale_ + seconds / ramp_s_);
      if (main_scale_ == 1) enter(SupplyState::kSettle);
      break;
    case SupplyState::kSettle:
    case SupplyState::kOn:
      if (!good_ && stop_in_s_ < 0 && bulk_.volts() > parameters_.bulk.warn_v) good_wait_s_ -= seconds;
      if (!good_ && stop_in_s_ < 0 && good_wait_s_ <= 0) {
        good_ = true;
        enter(SupplyState::kOn);
      }
      break;
    case SupplyState::kLatched:
      if (!inputs.ps_on_low) enter(SupplyState::kIdle);
      break;
  }
}

void PowerSequence::advance(const SequenceInputs& inputs, double seconds) {
  in_state_s_ += seconds;
  bulk_.advance(inputs.main_w + inputs.standby_w, inputs.mains_level, seconds);
  run_standby(seconds);
  if (standby_scale_ == 0) {
    main_scale_ = 0;
    good_ = false;
    stop_in_s_ = -1;
    if (state_ != SupplyState::kNoStandby) enter(SupplyState::kNoStandby);
  }
  run_main(inputs, seconds);
  if (main_scale_ > 0) watch(inputs, seconds);
  if (stop_in_s_ < 0) return;
  stop_in_s_ -= seconds;
  if (stop_in_s_ >= 0) return;
  main_scale_ = 0;
  enter(after_stop_);
}

}  // namespace host::simulate
