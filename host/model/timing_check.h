// SPDX-License-Identifier: Apache-2.0
// What an edition may not say of times, ramps and signals.
#pragma once

#include "host/model/text.h"
#include "limits.pb.h"

namespace host::model {

/// A row without a time, a symbol, table, source or status; two rows for one time; least not below most; shares,
/// slopes and levels that are none. Empty when sound.
TextErrors timing_contradictions(const steadyrail::proto::LimitSet& limits, const Place& place);

}  // namespace host::model
