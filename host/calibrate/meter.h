// SPDX-License-Identifier: Apache-2.0
// The reference meter: what its readings are worth.
#pragma once

#include <expected>
#include <string>
#include <string_view>

#include "calibration.pb.h"
#include "host/model/text.h"

namespace host::calibrate {

/// Reads and checks a meter's description. Errors with their place: no id, no range, a unit that is neither V nor A, a
/// width below 0 or none at all, a distribution not given, a normal one without its k, a due date that is no day.
std::expected<steadyrail::proto::Meter, model::TextErrors> meter_from_text(std::string_view text,
                                                                           std::string_view file);

/// The narrowest range a reading falls in; nullptr: none.
const steadyrail::proto::MeterRange* range_of(const steadyrail::proto::Meter& meter, std::string_view unit,
                                              double reading);

/// Standard uncertainty of a reading, V or A: bound and display divided by the root of 3, the meter's own calibration
/// by its k of 2 (JCGM 100, 4.3). Error: no range of the meter holds it.
std::expected<double, std::string> meter_uncertainty(const steadyrail::proto::Meter& meter, std::string_view unit,
                                                     double reading);

/// Scatter of a reading that a fit sees: the steps of the display; V or A, one standard deviation.
double display_scatter(const steadyrail::proto::Meter& meter, std::string_view unit, double reading);

/// "V up to 20: 0.05 % of reading + 0.002 V, rectangular; ..."
std::string in_words(const steadyrail::proto::Meter& meter);

}  // namespace host::calibrate
