// SPDX-License-Identifier: Apache-2.0
// Verdicts on times, ramps and signal levels: the worst of the session against the edition, guard-banded.
#pragma once

#include "host/detect/timing.h"
#include "limits.pb.h"
#include "result.pb.h"

namespace host::detect {

/// A verdict for everything the edition limits, each rail apart where it says so. What the session gave no occasion for
/// is not tested and marked so. Nothing without an edition.
void write_timing_verdicts(const model::Jig& jig, const steadyrail::proto::LimitSet* limits, const TimingDesk& desk,
                           steadyrail::proto::SessionResult& result);

}  // namespace host::detect
