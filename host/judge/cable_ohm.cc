// SPDX-License-Identifier: Apache-2.0
#include "host/judge/cable_ohm.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include <fmt/format.h>

namespace host::judge {
namespace {

constexpr double kMetresPer1000Feet = 304.8;
constexpr double kPerKelvin = 0.00393;  // annealed copper at 20 degrees Celsius, IEC 60028, from memory
constexpr double kUsualCelsius = 20;
constexpr double kWarmCelsius = 60;
constexpr double kSpanKelvin = 100;  // round 20 degrees Celsius: what PVC wire can be at is well inside
// Seven strands of 18 AWG: 6.636 ohm per 1000 ft against 6.385 solid, read in a wire maker's table.
constexpr double kStrandedFactor = 6.636 / 6.385;
// One mated 4.20 mm contact, tin on brass, after 20 matings: mean and least, read in a connector maker's test summary;
// the most a new one may have is from memory.
constexpr double kContactOhm = 3.09e-3;
constexpr double kContactLeastOhm = 2.85e-3;
constexpr double kContactMostOhm = 10e-3;
constexpr double kContactsPerCircuit = 2;  // at the case and at the plug
// A fixed cable has one; which it is cannot be told from the plug, so the least counts one.
constexpr double kContactsLeast = 1;

}  // namespace

std::optional<double> wire_ohm_per_m(std::uint32_t awg) {
  // Ohms per 1000 ft, solid annealed copper, 20 degrees Celsius: the wire gauge table of a university's physics pages.
  constexpr std::pair<std::uint32_t, double> kTable[] = {{14, 2.525}, {16, 4.016}, {18, 6.385}, {20, 10.15},
                                                         {22, 16.14}, {24, 25.67}, {28, 64.9}};
  for (const auto& [gauge, ohm] : kTable) {
    if (gauge == awg) return ohm / kMetresPer1000Feet;
  }
  return std::nullopt;
}

double copper_factor(double celsius) {
  return 1 + kPerKelvin * (celsius - kUsualCelsius);
}

std::expected<CableOhm, std::string> cable_ohm(const steadyrail::proto::Unit* unit, std::string_view connector,
                                               steadyrail::proto::Rail rail) {
  const auto lack = [&](std::string_view what) {
    return std::unexpected(fmt::format("the unit's description names no {} of the cable to {}", what, connector));
  };
  if (unit == nullptr) return std::unexpected("no unit is described: what the cable should come to is not known");
  const auto cable = std::ranges::find_if(unit->cables(), [&](const steadyrail::proto::Cable& one) {
    return one.connector() == connector && one.rail() == rail;
  });
  if (cable == unit->cables().end()) {
    return std::unexpected(fmt::format("the unit's description has no cable to {}", connector));
  }
  if (!(cable->length_m() > 0)) return lack("length");
  if (cable->circuits() == 0) return lack("number of circuits");
  if (!(std::abs(cable->temperature_c() - kUsualCelsius) <= kSpanKelvin)) return lack("believable temperature");
  std::uint32_t awg = cable->awg();
  if (!cable->has_awg() && rail == steadyrail::proto::RAIL_P12V) awg = unit->wire_awg();
  if (awg == 0) return lack("wire gauge");
  const auto per_m = wire_ohm_per_m(awg);
  if (!per_m) return std::unexpected(fmt::format("no resistance is known for wire of {} AWG", awg));
  const double wire = *per_m * cable->length_m();
  const double usual = copper_factor(cable->has_temperature_c() ? cable->temperature_c() : kUsualCelsius);
  const double warm = copper_factor(cable->has_temperature_c() ? cable->temperature_c() : kWarmCelsius);
  const double circuits = cable->circuits();
  return CableOhm{.expected = (wire * usual + kContactsPerCircuit * kContactOhm) / circuits,
                  .least = (wire * usual + kContactsLeast * kContactLeastOhm) / circuits,
                  .most = (wire * kStrandedFactor * warm + kContactsPerCircuit * kContactMostOhm) / circuits};
}

}  // namespace host::judge
