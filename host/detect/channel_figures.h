// SPDX-License-Identifier: Apache-2.0
// Mean and extremes of every voltage over the whole session, judged or not: what sessions are compared by.
#pragma once

#include "host/detect/tally.h"

namespace host::detect {

void write_channel_figures(const model::Jig& jig, const Tally& tally, steadyrail::proto::SessionResult& result);

}  // namespace host::detect
