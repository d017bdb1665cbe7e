// SPDX-License-Identifier: Apache-2.0
// The guard-banded decision on one figure against one limit (JCGM 106, ILAC-G8:09/2019: guard band w = U).
#pragma once

#include <cstdint>

#include "host/model/units.h"
#include "result.pb.h"

namespace host::judge {

/// The side of the limit that breaks it: below a low limit, above a high one.
enum class Side : std::uint8_t { kLow, kHigh };

constexpr Side opposite(Side side) {
  return side == Side::kLow ? Side::kHigh : Side::kLow;
}

/// A figure and what is known of its error, all in whole microvolts.
struct Reading {
  model::Microvolts value{0};
  model::Microvolts expanded{0};       // U, about 95.45 %, both ways
  model::Microvolts under_read{0};     // the chain may have hidden up to this much beyond the value
  model::Microvolts noise_extreme{0};  // noise alone may have carried an extreme this far outward
  bool under_read_unbounded = false;   // too short to bound: never a pass
};

/// pass: the whole interval, under-read included, lies inside the limit; fail: all of it, noise extreme included, lies
/// outside; else undecided.
steadyrail::proto::Decision guard_banded(Side side, const Reading& reading, model::Microvolts limit);

/// The same with both halves of the guard zone apart, by the side of the limit the value itself lies on.
steadyrail::proto::GuardZone guard_zone(Side side, const Reading& reading, model::Microvolts limit);

/// Probability that the true value lies beyond the limit, normal with standard uncertainty `u` (above 0); bias not
/// included. JCGM 106:2012 section 7.
double probability_nonconforming(Side side, double value, double limit, double u);

}  // namespace host::judge
