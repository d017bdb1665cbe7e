// SPDX-License-Identifier: Apache-2.0
// Drawings of the report as inline SVG: ink on paper, told apart by line and pattern, not by colour.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "result.pb.h"

namespace host::report {

/// A limit as it is drawn: a dashed line with the band of the expanded uncertainty hatched about it.
struct DrawnLimit {
  double value = 0;
  double expanded_uncertainty = 0;
};

/// The wave of one event about its start: lowest and highest of each step, the extreme ringed, the limit where it comes
/// near the wave. Empty when the waveform holds no number. At most 600 columns, whatever it was given.
std::string waveform_svg(const steadyrail::proto::Waveform& waveform, const steadyrail::proto::EventResult& event,
                         std::optional<DrawnLimit> limit);

/// The session from left to right: what was seen is solid, holes are open and hatched.
std::string coverage_svg(const steadyrail::proto::Coverage& coverage, double duration_s);

/// One channel over the whole session, lowest to highest of each stretch, with the limits that come near and the holes.
std::string overview_svg(const steadyrail::proto::Overview& overview, const std::vector<double>& limits,
                         const steadyrail::proto::Coverage& coverage);

/// Definitions (the hatch patterns) the drawings refer to; once a file, before the first of them.
std::string chart_definitions();

}  // namespace host::report
