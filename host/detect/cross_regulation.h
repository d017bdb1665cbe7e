// SPDX-License-Identifier: Apache-2.0
// Cross-regulation: how every rail's voltage answers every rail's load, V_r = a + sum of slope_rs I_s over settled
// points. Rails of one transformer under one error amplifier show it: +5 V rises with the load of +12 V.
#pragma once

#include "host/detect/settled_levels.h"
#include "result.pb.h"

namespace host::detect {

/// Rows: the first voltage channel of each rail that has current channels (the main connector's, where a jig numbers it
/// first). Columns: the sums of those rails' currents, as far as they moved. Refused where the loads moved together.
void write_cross_regulation(const model::Jig& jig, const SettledLevels& levels,
                            steadyrail::proto::SessionResult& result);

}  // namespace host::detect
