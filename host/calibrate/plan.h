// SPDX-License-Identifier: Apache-2.0
// Which points are taken, in which order.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "calibration.pb.h"
#include "host/model/jig.h"

namespace host::calibrate {

/// One stop of the programme: the same source, and the same meter, on all of these channels.
struct Step {
  std::vector<std::string> channels;
  std::string unit;       // V or A
  std::string direction;  // up, down, zero-cold, zero-warm
  double target = 0;      // about what to set; V or A
};

enum class Purpose { kCalibration, kVerification };

/// Whether a channel can be compared with a meter at all: everything but auxiliary inputs.
bool comparable(const model::JigChannel& channel);

/// Levels of a channel, ascending in magnitude. Calibration: at least five over the range used; of a rail the range
/// ends above every published upper limit. Verification: three others, the rail's nominal voltage nearly among them.
std::vector<double> levels(const model::JigChannel& channel, Purpose purpose);

/// Of every channel in `names`: levels up, then down; of a current the zero before and after. `together`: channels of
/// one kind and rail share a source and are read at once, currents excepted.
std::vector<Step> plan(const model::Jig& jig, const std::vector<std::string>& names, bool together, Purpose purpose);

}  // namespace host::calibrate
