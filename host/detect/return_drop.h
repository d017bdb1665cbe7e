// SPDX-License-Identifier: Apache-2.0
// What the returns drop, in volts, and what the jig itself costs a connector: figures that need no fit.
#pragma once

#include "host/detect/settled_levels.h"
#include "result.pb.h"
#include "unit.pb.h"

namespace host::detect {

/// A row for every ground-offset channel: the median of the tenth of its settled points with the greatest load, and the
/// slope on its group's load with that of all others held apart. The returns meet at the board and at the card, so it
/// is their shared network's drop, no plug's own. What the slope can come to follows from the wires back that `unit`
/// (may be null) describes; above that, some return of the group has more than wire and contacts explain.
void write_returns(const model::Jig& jig, const SettledLevels& levels, const steadyrail::proto::Unit* unit,
                   steadyrail::proto::SessionResult& result);

/// A row for every current channel: its greatest settled current through what its calibration found the jig to put in
/// series.
void write_burdens(const model::Jig& jig, const SettledLevels& levels, steadyrail::proto::SessionResult& result);

}  // namespace host::detect
