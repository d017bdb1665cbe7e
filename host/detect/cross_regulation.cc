// SPDX-License-Identifier: Apache-2.0
#include "host/detect/cross_regulation.h"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "host/detect/output_resistance.h"
#include "host/detect/robust_fit.h"
#include "host/detect/theil_sen.h"
#include "host/judge/uncertainty.h"

namespace host::detect {
namespace {

using steadyrail::proto::CrossRegulation;
using steadyrail::proto::FigureSource;

constexpr std::size_t kLeastPoints = 12;
constexpr double kLeastMoveA = 0.5;  // between the 5th and 95th hundredth of a load: less tells no slope; own choice
constexpr double kCoverage95 = 0.95;

struct Load {
  steadyrail::proto::Rail rail = steadyrail::proto::RAIL_UNKNOWN;
  const model::JigChannel* voltage = nullptr;
  std::vector<const model::JigChannel*> currents;
  std::vector<double> amps;  // by point
  std::vector<double> volts;
};

std::vector<Load> loads_of(const model::Jig& jig) {
  std::vector<Load> loads;
  for (const auto& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE) continue;
    if (std::ranges::any_of(loads, [&](const Load& load) { return load.rail == channel.rail; })) continue;
    Load load;
    load.rail = channel.rail;
    load.voltage = &channel;
    for (const auto& current : jig.channels()) {
      if (current.kind == steadyrail::proto::CHANNEL_KIND_CURRENT && current.rail == channel.rail) {
        load.currents.push_back(&current);
      }
    }
    if (!load.currents.empty()) loads.push_back(std::move(load));
  }
  return loads;
}

double moved(std::vector<double> amps) {
  std::ranges::sort(amps);
  const auto last = static_cast<double>(amps.size() - 1);
  return amps[static_cast<std::size_t>(0.95 * last)] - amps[static_cast<std::size_t>(0.05 * last)];
}

void fill(std::vector<Load>& loads, const PointStore& store) {
  std::uint8_t rails = 0;
  for (const Load& load : loads) rails |= rail_bit(load.rail);
  for (const SettledPoint& point : store.points()) {
    if (!point.has(rails)) continue;
    for (Load& load : loads) {
      double sum = 0;
      for (const auto* current : load.currents) sum += static_cast<double>(point.values[current->index]);
      load.amps.push_back(sum);
      load.volts.push_back(static_cast<double>(point.values[load.voltage->index]));
    }
  }
}

CrossRegulation fitted(std::vector<Load> loads, const PointStore& store) {
  CrossRegulation out;
  fill(loads, store);
  const std::size_t points = loads.empty() ? 0 : loads[0].amps.size();
  out.set_points(static_cast<std::uint32_t>(points));
  const auto refuse = [&](std::string why) {
    out.set_refusal(std::move(why));
    return out;
  };
  if (loads.size() < 2) return refuse("fewer than two rails with current channels");
  if (points < kLeastPoints) {
    return refuse(fmt::format("{} settled points with every rail at rest, {} required", points, kLeastPoints));
  }
  std::vector<std::vector<double>> columns;
  std::vector<const Load*> moving;
  for (const Load& load : loads) {
    if (moved(load.amps) < kLeastMoveA) continue;
    columns.push_back(load.amps);
    moving.push_back(&load);
  }
  if (moving.size() < 2) return refuse("not enough spread: fewer than two rails' loads moved");
  const double condition = condition_number(columns);
  if (std::isfinite(condition)) out.set_condition_number(condition);
  if (condition > kConditionMost) return refuse("currents moved together, not separable");
  for (const Load& row : loads) {
    const auto fit = robust_fit(columns, row.volts);
    if (!fit) return refuse("currents moved together, not separable");
    const double t = judge::student_factor(kCoverage95, fit->dof);
    for (std::size_t k = 0; k < moving.size(); ++k) {
      double gain = 0;
      const double most = *std::ranges::max_element(columns[k]);
      for (const auto* current : moving[k]->currents) gain = std::max(gain, gain_u(*current, most));
      const double half = std::hypot(t * fit->slopes_u[k], 2 * gain * fit->slopes[k]);
      auto* entry = out.add_entries();
      entry->set_channel(row.voltage->name);
      entry->set_rail(row.voltage->rail_label);
      entry->set_load(moving[k]->voltage->rail_label);
      entry->set_value(fit->slopes[k]);
      entry->set_unit("V/A");
      entry->set_interval_low(fit->slopes[k] - half);
      entry->set_interval_high(fit->slopes[k] + half);
    }
  }
  return out;
}

}  // namespace

void write_cross_regulation(const model::Jig& jig, const SettledLevels& levels,
                            steadyrail::proto::SessionResult& result) {
  const std::vector<Load> loads = loads_of(jig);
  CrossRegulation out = fitted(loads, levels.chip());
  out.set_source(FigureSource::FIGURE_SOURCE_CHIP);
  if (!out.refusal().empty()) {
    CrossRegulation other = fitted(loads, levels.window());
    other.set_source(FigureSource::FIGURE_SOURCE_WINDOW);
    if (other.refusal().empty() || other.points() > out.points()) out = std::move(other);
  }
  *result.mutable_cross_regulation() = std::move(out);
}

}  // namespace host::detect
