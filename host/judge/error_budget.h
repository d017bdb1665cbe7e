// SPDX-License-Identifier: Apache-2.0
// What one reading is worth, term by term, from the jig's description (GUM, JCGM 100:2008).
#pragma once

#include <span>

#include "budget.pb.h"
#include "host/model/jig.h"

namespace host::judge {

/// Of a mean of `samples` scans of `channel` at the value its list of contributors is for; without a list, at the
/// rail's nominal voltage, else at the top of its range. Terms: the fit and the noise (type A), and the listed
/// contributors, or where none are listed the parts that the calibration tells apart. `tolerances`: shares of the
/// nominal voltage to set against U; for rail voltages only. Of a channel without calibration the listed contributors
/// are all there is.
steadyrail::proto::ErrorBudget error_budget(const model::Jig& jig, const model::JigChannel& channel, double samples,
                                            std::span<const double> tolerances);

}  // namespace host::judge
