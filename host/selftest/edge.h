// SPDX-License-Identifier: Apache-2.0
// When a step came at a channel's tap: from the two scans round its threshold and the poles of its chain.
#pragma once

#include <optional>
#include <span>

namespace host::selftest {

/// Step response of two real poles, 1 - (t1 exp(-t/t1) - t2 exp(-t/t2)) / (t1 - t2), of one pole with one; t and poles
/// in seconds. More poles than two: the two slowest, the others as a delay of their sum.
double step_response(double t_s, std::span<const double> time_constants_s);

/// Instant in scans, not later than `after_scan`; empty when the two shares (of the whole step, 0 to 1) lie on no
/// response: a step that was none.
std::optional<double> step_instant(double before_scan, double before_share, double after_share, double scan_s,
                                   std::span<const double> time_constants_s);

}  // namespace host::selftest
