// SPDX-License-Identifier: Apache-2.0
// Which limit of an edition a timed figure meets.
#pragma once

#include <string>

#include "limits.pb.h"
#include "result.pb.h"

namespace host::judge {

/// The edition's row for a time; nullptr: it has none, or the quantity is no time.
const steadyrail::proto::TimingLimit* timing_limit(const steadyrail::proto::LimitSet& limits,
                                                   steadyrail::proto::Quantity quantity);
/// The quantity a row limits.
steadyrail::proto::Quantity quantity_of(steadyrail::proto::Timing timing);
/// "s", "V" or "V/ms".
std::string unit_of(steadyrail::proto::Quantity quantity);

}  // namespace host::judge
