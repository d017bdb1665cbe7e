// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/mains.h"

#include <algorithm>
#include <cmath>

#include "host/simulate/arithmetic.h"

namespace host::simulate {

Mains::Mains(const MainsParameters& parameters, std::uint64_t seed, double scan_s)
    : parameters_(parameters), random_(seed, 4), scan_s_(scan_s), turns_(random_.uniform()) {
  if (parameters_.dip_every_s > 0) left_s_ = parameters_.dip_every_s * random_.uniform(0.5, 1);
}

void Mains::advance() {
  turns_ += parameters_.hz * scan_s_;
  if (turns_ >= 1) turns_ -= 1;
  undisturbed_v_ = kAdapterPeakV * sine_of_turns(turns_);
  residue_phase_ = sine_of_turns(2 * turns_);
  if (parameters_.dip_every_s == 0) return;
  left_s_ -= scan_s_;
  if (left_s_ > 0) return;
  if (level_ == 1) {
    level_ = random_.uniform(0, parameters_.dip_level_most);
    left_s_ = random_.uniform(parameters_.dip_least_s, parameters_.dip_most_s);
  } else {
    level_ = 1;
    left_s_ = parameters_.dip_every_s * random_.uniform(0.5, 1.5);
  }
}

double Mains::undisturbed_v() const {
  return kAdapterPeakV * sine_of_turns(turns_);
}
double Mains::adapter_v() const {
  return level_ * undisturbed_v();
}
double Mains::residue_phase() const {
  return sine_of_turns(2 * turns_);
}

double AcDetector::advance(const Mains& mains, double scan_s) {
  constexpr double kThreshold = 0.2;
  constexpr double kReturnS = 0.010;
  const double before = departure_;
  departure_ = std::abs(mains.adapter_v() - mains.undisturbed_v()) / Mains::kAdapterPeakV;
  if (present_) {
    if (departure_ <= kThreshold) return -1;
    present_ = false;
    quiet_s_ = 0;
    return std::clamp((kThreshold - before) / (departure_ - before), 0.0, 1.0);
  }
  quiet_s_ = departure_ <= kThreshold ? quiet_s_ + scan_s : 0;
  if (quiet_s_ < kReturnS) return -1;
  present_ = true;
  return 0;
}

void BulkCapacitor::advance(double output_w, double mains_level, double seconds) {
  const double drawn_w = output_w / parameters_.efficiency;
  const double most_w = mains_level >= parameters_.input_level_least ? parameters_.input_w * mains_level : 0;
  // A voltage loop of a few hertz would be truer; the rails do not see the difference while the capacitor is charged.
  constexpr double kRefillWPerV = 40;
  const double asked_w = drawn_w + kRefillWPerV * (parameters_.set_v - volts_);
  const double input_w = std::clamp(asked_w, 0.0, most_w);
  const double square = volts_ * volts_ + 2 * (input_w - drawn_w) * seconds / parameters_.farad;
  volts_ = std::sqrt(std::max(square, 0.0));
}

}  // namespace host::simulate
