// SPDX-License-Identifier: Apache-2.0
// Watts of the outputs of a label, alone and together under its combined limits.
#pragma once

#include <array>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "unit.pb.h"

namespace host::label {

/// The order of every table: +12 V first, -12 V and +5VSB last.
inline constexpr std::array kRailOrder = {steadyrail::proto::RAIL_P12V, steadyrail::proto::RAIL_P5V,
                                          steadyrail::proto::RAIL_P3V3, steadyrail::proto::RAIL_M12V,
                                          steadyrail::proto::RAIL_P5VSB};

/// Volts of a rail without its sign: what amps are multiplied by.
double rail_volts(steadyrail::proto::Rail rail);

/// Watts by rail; 0 where nothing is printed.
using RailWatts = std::array<double, steadyrail::proto::Rail_ARRAYSIZE>;

/// The printed rating of a rail; nullptr when it is not printed.
const steadyrail::proto::RailRating* find_rail(const steadyrail::proto::Unit& unit, steadyrail::proto::Rail rail);
/// Amps of the whole rail, or the sum of its sub-rails where only these are printed.
double rail_amps(const steadyrail::proto::RailRating& rating);
/// Every rail at full amps.
RailWatts full_amps_watts(const steadyrail::proto::Unit& unit);

/// The most the rails of `watts` deliver together within the combined limits; a rail left at 0 W takes no part.
/// A limit that crosses another (each holds a rail the other lacks) is left out, so the sum is then an upper bound;
/// the places of such limits in `limits` go to `crossing` when given.
double most_together(const RailWatts& watts,
                     const google::protobuf::RepeatedPtrField<steadyrail::proto::CombinedLimit>& limits,
                     std::vector<int>* crossing = nullptr);

/// Watts +12 V keeps with every other output at its limit: by the total, by each combined limit it is part of, and by
/// its own rating. Never below 0. Nothing when the total or +12 V is not printed.
std::optional<double> left_for_12v(const steadyrail::proto::Unit& unit);

/// "12 V x 23.5 A = 282 W", figures to two decimals with trailing zeros cut.
std::string times_line(double volts, double amps);
/// A figure to two decimals with trailing zeros cut: 282, 23.5, 2.25.
std::string number(double value);

}  // namespace host::label
