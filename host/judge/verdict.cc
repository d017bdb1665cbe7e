// SPDX-License-Identifier: Apache-2.0
#include "host/judge/verdict.h"

namespace host::judge {

using steadyrail::proto::Decision;
using steadyrail::proto::LimitStatus;

Decided decide(Side side, const Reading& reading, model::Microvolts limit, const Grounds& grounds) {
  if (!grounds.calibration_lack.empty()) {
    return {.decision = Decision::DECISION_UNDECIDED, .reason = grounds.calibration_lack};
  }
  if (grounds.clipped) {
    return {.decision = Decision::DECISION_UNDECIDED, .reason = "clipped at the end of the range: only a bound"};
  }
  Decided decided{
      .decision = guard_banded(side, reading, limit), .zone = guard_zone(side, reading, limit), .reason = {}};
  const bool known = grounds.limit_status == LimitStatus::LIMIT_STATUS_READ ||
                     grounds.limit_status == LimitStatus::LIMIT_STATUS_SECONDARY;
  if (decided.decision == Decision::DECISION_FAIL) {
    if (!known) {
      decided.decision = Decision::DECISION_UNDECIDED;
      decided.reason = "limit from memory";
    }
  } else if (decided.decision == Decision::DECISION_UNDECIDED) {
    const bool inside = decided.zone == steadyrail::proto::GUARD_ZONE_CONDITIONAL_PASS;
    decided.reason = reading.under_read_unbounded ? "too short to bound what the chain hides"
                     : inside                     ? "inside the limit, but not clear of it by its uncertainty"
                                                  : "beyond the limit, but not clear of it by its uncertainty";
  } else if (!grounds.coverage_lack.empty()) {
    decided.decision = Decision::DECISION_UNDECIDED;
    decided.reason = grounds.coverage_lack;
  }
  return decided;
}

}  // namespace host::judge
