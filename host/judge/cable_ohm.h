// SPDX-License-Identifier: Apache-2.0
// What a cable's supply conductor should come to: its wire by gauge, length and temperature, its contacts, in parallel.
#pragma once

#include <cstdint>
#include <expected>
#include <optional>
#include <string>
#include <string_view>

#include "unit.pb.h"

namespace host::judge {

/// Ohms per metre of one solid annealed copper wire at 20 degrees Celsius; even gauges 14 to 24 and 28.
std::optional<double> wire_ohm_per_m(std::uint32_t awg);

/// Copper's resistance at a temperature over that at 20 degrees Celsius.
double copper_factor(double celsius);

/// Ohms of one conductor, out only: two contacts and the wire of each circuit, circuits in parallel.
struct CableOhm {
  double expected = 0;
  double least = 0;
  double most = 0;  // contacts at the most their maker lets pass, stranded wire, warm where no temperature is given
};

/// The cable described for a plug and rail. Error: why it cannot be told. Where the cable names no gauge the thinnest
/// printed on the +12 V cables stands in.
std::expected<CableOhm, std::string> cable_ohm(const steadyrail::proto::Unit* unit, std::string_view connector,
                                               steadyrail::proto::Rail rail);

}  // namespace host::judge
