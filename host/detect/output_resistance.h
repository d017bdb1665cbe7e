// SPDX-License-Identifier: Apache-2.0
// Effective output resistance: how much a voltage falls for each ampere, between settled levels of load. R = -slope of
// the Theil-Sen line; other currents, of whatever rail, that moved independently are taken out first.
#pragma once

#include <cstddef>
#include <expected>
#include <span>
#include <string>

#include "host/detect/settled_levels.h"
#include "result.pb.h"

namespace host::detect {

inline constexpr double kLeastPairA = 0.5;  // two levels closer than this tell no slope; own choice
inline constexpr double kLeastSpanA = 3;    // between the least and the greatest current; own choice
inline constexpr std::size_t kLeastLevels = 5;

/// Why a load's levels cannot tell a resistance; empty when they can.
std::string too_little_spread(std::span<const double> amps);

/// Share by which noise of the current shrinks a slope: 1 / (1 + u^2 / variance of the currents), errors in variables.
double attenuation(std::span<const double> amps, double u_a);

/// Relative standard uncertainty of a slope per ampere from the current channel's calibration, for currents up to
/// `most_a`: everything its fit cannot see counts as an error of gain. Uncalibrated: 3 %.
double gain_u(const model::JigChannel& current, double most_a);

/// One row for every rail voltage on a rail with current channels. Of the two sources the chip's means come first; the
/// windows' stand in where those refuse.
void write_output_resistances(const model::Jig& jig, const SettledLevels& levels,
                              steadyrail::proto::SessionResult& result);

}  // namespace host::detect
