// SPDX-License-Identifier: Apache-2.0
// Whether an edition's rows of load steps and capacitive loads make sense.
#pragma once

#include "host/model/text.h"
#include "limits.pb.h"

namespace host::model {

/// Every row names its output, its size by its basis, what was read of it and where.
TextErrors transient_contradictions(const steadyrail::proto::LimitSet& limits, const Place& place);

}  // namespace host::model
