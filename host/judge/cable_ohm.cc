// SPDX-License-Identifier: Apache-2.0
#include "host/judge/cable_ohm.h"

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

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

namespace {

using steadyrail::proto::Cable;
using steadyrail::proto::Unit;

/// What the description must say of a cable before anything can be worked out from it; ohms of one wire at 20 C.
std::expected<double, std::string> wire_ohm(const Unit& unit, const Cable& cable) {
  const auto lack = [&](std::string_view what) {
    return std::unexpected(
        fmt::format("the unit's description names no {} of the cable to {}", what, cable.connector()));
  };
  if (!(cable.length_m() > 0)) return lack("length");
  if (!(std::abs(cable.temperature_c() - kUsualCelsius) <= kSpanKelvin)) return lack("believable temperature");
  std::uint32_t awg = cable.awg();
  if (!cable.has_awg() && cable.rail() == steadyrail::proto::RAIL_P12V) awg = unit.wire_awg();
  if (awg == 0) return lack("wire gauge");
  const auto per_m = wire_ohm_per_m(awg);
  if (!per_m) return std::unexpected(fmt::format("no resistance is known for wire of {} AWG", awg));
  return *per_m * cable.length_m();
}

constexpr std::string_view kNoUnit = "no unit is described: what the cable should come to is not known";

/// A value with its standard uncertainty.
struct Told {
  double value;
  double u;
};

Told rectangular(double low, double high) {
  return {(low + high) / 2, (high - low) / std::sqrt(12)};
}

/// Copper as it lies in the cable over solid copper at 20 C.
Told wire_factor(const Cable& cable) {
  const Told strands = rectangular(1, kStrandedFactor);
  const Told warmth = cable.has_temperature_c()
                          ? Told{copper_factor(cable.temperature_c()), 0}
                          : rectangular(copper_factor(kUsualCelsius), copper_factor(kWarmCelsius));
  return {strands.value * warmth.value, std::hypot(strands.u * warmth.value, warmth.u * strands.value)};
}

/// One plug's way back.
struct Way {
  double wire = 0;  // of one circuit, at 20 C
  Told factor{};    // of the wire
  double circuits = 0;
  double contacts = kContactsPerCircuit * kContactOhm;  // of one circuit up to the tap
  double behind = kContactOhm;                          // and behind it
  double up(double factor_u) const { return (wire * (factor.value + factor_u * factor.u) + contacts) / circuits; }
};

/// Ohms from the first way's tap to the supply for each ampere of all; `factor_u`: wire by so many of its
/// uncertainties.
double tapped_ohm(std::span<const Way> ways, double factor_u) {
  double siemens = 0;
  for (const Way& way : ways) siemens += 1 / (way.up(factor_u) + way.behind / way.circuits);
  const double first = ways[0].up(factor_u);
  return first / (first + ways[0].behind / ways[0].circuits) / siemens;
}

/// Change by one standard uncertainty of one figure, which `figure_of` names.
template <typename FigureOf>
double change(std::vector<Way> ways, std::size_t index, double by, FigureOf figure_of) {
  figure_of(ways[index]) += by;
  const double high = tapped_ohm(ways, 0);
  figure_of(ways[index]) -= 2 * by;
  return (high - tapped_ohm(ways, 0)) / 2;
}

}  // namespace

std::expected<ReturnOhm, std::string> return_ohm(const Unit* unit, std::span<const std::string> connectors) {
  if (unit == nullptr) return std::unexpected(std::string(kNoUnit));
  std::vector<Way> ways;
  for (const std::string& connector : connectors) {
    const auto cable = std::ranges::find_if(
        unit->cables(), [&](const Cable& one) { return one.connector() == connector && one.return_circuits() > 0; });
    if (cable == unit->cables().end()) {
      return std::unexpected(fmt::format("the unit's description does not count the wires back from {}", connector));
    }
    const auto wire = wire_ohm(*unit, *cable);
    if (!wire) return std::unexpected(wire.error());
    ways.push_back({.wire = *wire, .factor = wire_factor(*cable), .circuits = double(cable->return_circuits())});
  }
  if (ways.empty()) return std::unexpected(std::string("no plug belongs to this return"));
  const double contact_u = std::sqrt((kContactMostOhm - kContactOhm) * (kContactOhm - kContactLeastOhm));
  const double wire_u = (tapped_ohm(ways, 1) - tapped_ohm(ways, -1)) / 2;  // all wires are as warm as each other
  double variance = wire_u * wire_u;
  for (std::size_t index = 0; index < ways.size(); ++index) {
    // Circuits in parallel: the mean of n contacts has the n-th part of the variance of one.
    const double one = contact_u / std::sqrt(ways[index].circuits);
    const double up =
        change(ways, index, one * std::sqrt(kContactsPerCircuit), [](Way& way) -> double& { return way.contacts; });
    const double behind = change(ways, index, one, [](Way& way) -> double& { return way.behind; });
    variance += up * up + behind * behind;
  }
  const double expected = tapped_ohm(ways, 0);
  return ReturnOhm{.expected = expected, .most = expected + 2 * std::sqrt(variance)};
}

std::expected<CableOhm, std::string> cable_ohm(const Unit* unit, std::string_view connector,
                                               steadyrail::proto::Rail rail) {
  if (unit == nullptr) return std::unexpected(std::string(kNoUnit));
  const auto cable = std::ranges::find_if(
      unit->cables(), [&](const Cable& one) { return one.connector() == connector && one.rail() == rail; });
  if (cable == unit->cables().end()) {
    return std::unexpected(fmt::format("the unit's description has no cable to {}", connector));
  }
  if (cable->circuits() == 0) {
    return std::unexpected(
        fmt::format("the unit's description names no number of circuits of the cable to {}", connector));
  }
  const auto wire = wire_ohm(*unit, *cable);
  if (!wire) return std::unexpected(wire.error());
  const double usual = copper_factor(cable->has_temperature_c() ? cable->temperature_c() : kUsualCelsius);
  const double warm = copper_factor(cable->has_temperature_c() ? cable->temperature_c() : kWarmCelsius);
  const double circuits = cable->circuits();
  return CableOhm{.expected = (*wire * usual + kContactsPerCircuit * kContactOhm) / circuits,
                  .least = (*wire * usual + kContactsLeast * kContactLeastOhm) / circuits,
                  .most = (*wire * kStrandedFactor * warm + kContactsPerCircuit * kContactMostOhm) / circuits};
}

}  // namespace host::judge
