// SPDX-License-Identifier: Apache-2.0
#include "host/judge/verdict.h"

namespace host::judge {

using steadyrail::proto::Decision;
using steadyrail::proto::LimitStatus;

Decided decide(Side side, const Reading& reading, model::Microvolts limit, const Grounds& grounds) {
  if (!grounds.calibrated) return {Decision::DECISION_UNDECIDED, "channel not calibrated"};
  if (grounds.clipped) return {Decision::DECISION_UNDECIDED, "clipped at the end of the range: only a bound"};
  const Decision plain = guard_banded(side, reading, limit);
  const bool known = grounds.limit_status == LimitStatus::LIMIT_STATUS_READ ||
                     grounds.limit_status == LimitStatus::LIMIT_STATUS_SECONDARY;
  if (plain == Decision::DECISION_FAIL) {
    if (!known) return {Decision::DECISION_UNDECIDED, "limit from memory"};
    return {plain, {}};
  }
  if (plain == Decision::DECISION_UNDECIDED) {
    if (reading.under_read_unbounded) return {plain, "too short to bound what the chain hides"};
    return {plain, "within the uncertainty of the limit"};
  }
  if (!grounds.coverage_lack.empty()) return {Decision::DECISION_UNDECIDED, grounds.coverage_lack};
  return {plain, {}};
}

}  // namespace host::judge
