// SPDX-License-Identifier: Apache-2.0
#include "host/label/load_case.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

constexpr double kSmallSupplyW = 450;  // up to here the table's first column holds whatever the connectors

void allow(const proto::LimitSet* limits, bool large, LoadCase& one) {
  if (one.steady()) return;
  one.table = limits != nullptr && !limits->excursion().empty();
  if (!one.table) return;
  std::vector<const proto::ExcursionRow*> rows;
  for (const proto::ExcursionRow& row : limits->excursion()) rows.push_back(&row);
  std::ranges::sort(rows, {}, &proto::ExcursionRow::duration_s);
  for (const proto::ExcursionRow* row : rows) {
    if (one.duration_s > row->duration_s() * (1 + 1e-9)) continue;
    one.allowed = (large ? row->percent_large() : row->percent_small()) / 100;
    one.allowed_status = row->status();
    return;
  }
}

}  // namespace

std::vector<LoadCase> load_cases(const proto::Unit& unit, const proto::System& system, const proto::LimitSet* limits) {
  std::vector<double> lengths = durations(system);
  lengths.insert(lengths.begin(), kSteady);
  std::vector<LoadCase> out;
  for (const double length : lengths) {
    LoadCase one{.duration_s = length, .plugs = loads(system, length)};
    bool large = false;
    for (const PlugLoad& plug : one.plugs) {
      large = large || (plug.kind == proto::PLUG_KIND_GRAPHICS_2X6 && unit.total_w() > kSmallSupplyW);
      for (const proto::Rail rail : kRailOrder) one.amps[rail] += plug.amps[rail];
    }
    for (const proto::Rail rail : kRailOrder) one.watts[rail] = one.amps[rail] * rail_volts(rail);
    allow(limits, large, one);
    out.push_back(std::move(one));
  }
  return out;
}

std::string case_words(double duration_s) {
  if (!std::isfinite(duration_s)) return "steady";
  if (duration_s < 1e-3) return number(1e6 * duration_s) + " us";
  return duration_s < 1 ? number(1e3 * duration_s) + " ms" : number(duration_s) + " s";
}

}  // namespace host::label
