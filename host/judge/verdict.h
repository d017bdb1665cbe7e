// SPDX-License-Identifier: Apache-2.0
// From a guard-banded decision to what may be said aloud: whose limit, how much was seen, within which load.
#pragma once

#include <string>

#include "host/judge/decision.h"
#include "limits.pb.h"

namespace host::judge {

/// Everything a verdict rests on besides the figure.
struct Grounds {
  std::string calibration_lack{};  // why the channel's calibration does not count; empty: it does
  bool clipped = false;            // the figure stands at the upper end of the converter's range
  steadyrail::proto::LimitStatus limit_status = steadyrail::proto::LIMIT_STATUS_UNKNOWN;
  std::string coverage_lack{};  // what is missing, in words; empty: enough was seen
};

struct Decided {
  steadyrail::proto::Decision decision = steadyrail::proto::DECISION_NOT_TESTED;
  steadyrail::proto::GuardZone zone = steadyrail::proto::GUARD_ZONE_NONE;
  std::string reason;  // empty for a pass or a fail that needs no remark
};

/// A channel whose calibration does not count and a clipped figure decide nothing; a limit known only from memory never
/// fails a unit; a pass needs the coverage asked for, a fail does not.
Decided decide(Side side, const Reading& reading, model::Microvolts limit, const Grounds& grounds);

}  // namespace host::judge
