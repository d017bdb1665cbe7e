// SPDX-License-Identifier: Apache-2.0
#include "host/judge/decision.h"

#include <boost/math/distributions/normal.hpp>

namespace host::judge {

using steadyrail::proto::Decision;
using steadyrail::proto::GuardZone;

GuardZone guard_zone(Side side, const Reading& reading, model::Microvolts limit) {
  // A high limit mirrored at zero is a low one, so that both sides share one comparison. 64 bits: sums cannot wrap.
  const std::int64_t sign = side == Side::kLow ? 1 : -1;
  const std::int64_t value = sign * reading.value.value;
  const std::int64_t least = sign * limit.value;
  const std::int64_t lowest = value - reading.expanded.value - reading.under_read.value;
  const std::int64_t highest = value + reading.expanded.value + reading.noise_extreme.value;
  if (highest < least) return GuardZone::GUARD_ZONE_FAIL;
  if (lowest >= least && !reading.under_read_unbounded) return GuardZone::GUARD_ZONE_PASS;
  return value >= least ? GuardZone::GUARD_ZONE_CONDITIONAL_PASS : GuardZone::GUARD_ZONE_CONDITIONAL_FAIL;
}

Decision guard_banded(Side side, const Reading& reading, model::Microvolts limit) {
  switch (guard_zone(side, reading, limit)) {
    case GuardZone::GUARD_ZONE_PASS:
      return Decision::DECISION_PASS;
    case GuardZone::GUARD_ZONE_FAIL:
      return Decision::DECISION_FAIL;
    default:
      return Decision::DECISION_UNDECIDED;
  }
}

double probability_nonconforming(Side side, double value, double limit, double u) {
  const double z = side == Side::kLow ? (limit - value) / u : (value - limit) / u;
  return boost::math::cdf(boost::math::normal(), z);
}

}  // namespace host::judge
