// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/protection.h"

#include <algorithm>

namespace host::simulate {

bool Protection::held(std::size_t index, bool violated, double limit_s, double seconds) {
  held_s_[index] = violated ? held_s_[index] + seconds : 0;
  return held_s_[index] > limit_s;
}

Trip Protection::advance(const std::array<double, kRails>& shares, double amps_12v, double output_w, double seconds) {
  const ProtectionParameters& p = parameters_;
  const double least = *std::ranges::min_element(shares);
  const double most = *std::ranges::max_element(shares);
  // Each counter runs every time, whichever speaks first.
  const bool over_current = held(0, amps_12v > p.over_current * p.rated_12v_a, p.over_current_s, seconds);
  const bool over_power = held(1, output_w > p.over_power * p.rated_w, p.over_power_s, seconds);
  const bool shorted = held(2, least < p.short_share, p.short_s, seconds);
  const bool under = held(3, least < p.under_share, p.under_s, seconds);
  const bool over = held(4, most > p.over_share, p.over_s, seconds);
  if (over) return Trip::kOverVoltage;
  if (shorted) return Trip::kShort;
  if (under) return Trip::kUnderVoltage;
  if (over_current) return Trip::kOverCurrent;
  return over_power ? Trip::kOverPower : Trip::kNone;
}

}  // namespace host::simulate
