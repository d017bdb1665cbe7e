// SPDX-License-Identifier: Apache-2.0
// How far a calibration has come, in a text file that outlives every interruption.
#pragma once

#include <cstddef>
#include <expected>
#include <string>
#include <vector>

#include "calibration.pb.h"
#include "host/calibrate/plan.h"

namespace host::app {

/// What stands in `path`; `fresh` where there is no such file. Errors: the file's own slips with line and column, and
/// what must not change between two sittings: jig, meter, channels, role, class, the real or a simulated jig.
std::expected<steadyrail::proto::CalibrationProgress, std::string> resume(
    const std::string& path, const steadyrail::proto::CalibrationProgress& fresh);

/// Written whole beside it and renamed, so that no interruption leaves half a file.
std::expected<void, std::string> save(const std::string& path, const steadyrail::proto::CalibrationProgress& progress);

/// Stops still to come, those of skipped channels left out; a stop is taken when each of its channels has its point.
std::vector<calibrate::Step> steps_left(const std::vector<calibrate::Step>& steps,
                                        const steadyrail::proto::CalibrationProgress& progress);

/// Takes the points of the last stop back; false: there are none.
bool take_back(const std::vector<calibrate::Step>& steps, steadyrail::proto::CalibrationProgress& progress);

}  // namespace host::app
