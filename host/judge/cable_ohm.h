// SPDX-License-Identifier: Apache-2.0
// What a cable's supply conductor should come to: its wire by gauge, length and temperature, its contacts, in parallel.
#pragma once

#include <cstdint>
#include <expected>
#include <optional>
#include <span>
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

/// What a plug's return tap may lie above the supply's 0 V, for each ampere that its group of plugs takes together: the
/// wires back of all of them in parallel, and nothing else that leads from the group to the supply. Every other way
/// (the board's returns, a case) only lowers it.
struct ReturnOhm {
  double expected = 0;
  double most = 0;  // expected and twice its standard uncertainty
};

/// `connectors`: the group's plugs, the first of them the one whose return is tapped. The wire's temperature, where
/// none is given, and its stranding count as rectangular; contacts as independent, of the tested mean, and spread as
/// widely as anything with that mean can be between the least and the most (Bhatia and Davis, 2000). Behind the tap
/// each circuit has one contact more. Error: why it cannot be told.
std::expected<ReturnOhm, std::string> return_ohm(const steadyrail::proto::Unit* unit,
                                                 std::span<const std::string> connectors);

}  // namespace host::judge
