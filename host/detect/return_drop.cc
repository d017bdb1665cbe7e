// SPDX-License-Identifier: Apache-2.0
#include "host/detect/return_drop.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include "host/detect/output_resistance.h"
#include "host/detect/robust_fit.h"
#include "host/detect/theil_sen.h"
#include "host/judge/cable_ohm.h"
#include "host/judge/uncertainty.h"

namespace host::detect {
namespace {

using model::JigChannel;
using steadyrail::proto::FigureSource;
using steadyrail::proto::ReturnDrop;

constexpr double kMeanSamples = 32;
constexpr double kCoverage95 = 0.95;
constexpr double kTopShare = 0.1;  // of the points: those with the greatest load

/// Current channels of the connectors whose group this ground-offset channel serves, each once.
std::vector<std::size_t> group_currents(const model::Jig& jig, const JigChannel& ground) {
  std::vector<std::size_t> currents;
  for (const auto& channel : jig.channels()) {
    if (channel.ground != ground.index || !channel.current) continue;
    if (std::ranges::find(currents, *channel.current) == currents.end()) currents.push_back(*channel.current);
  }
  return currents;
}

/// Connectors of the group, the tapped one first.
std::vector<std::string> group_connectors(const model::Jig& jig, const JigChannel& ground) {
  std::vector<std::string> connectors{ground.connector};
  for (const auto& channel : jig.channels()) {
    if (channel.ground != ground.index || std::ranges::find(connectors, channel.connector) != connectors.end())
      continue;
    connectors.push_back(channel.connector);
  }
  return connectors;
}

/// Loads whose returns may take part in a group's drop, in columns: the group's own; the main connector's on the
/// group's rails, part of which a card draws through its slot; everything else.
class ReturnLoads {
 public:
  ReturnLoads(const model::Jig& jig, const std::vector<std::size_t>& group, std::uint8_t rails) {
    for (const auto& channel : jig.channels()) {
      if (channel.kind != steadyrail::proto::CHANNEL_KIND_CURRENT) continue;
      const bool own = std::ranges::find(group, channel.index) != group.end();
      const bool slot = channel.connector == "main" && (rails & rail_bit(channel.rail)) != 0;
      kinds_[own ? 0 : slot ? 1 : 2].push_back(channel.index);
    }
  }

  /// Columns that moved; what stood still goes with the last. Empty when the group's own did not move.
  std::vector<std::vector<double>> columns(const std::vector<const SettledPoint*>& points) const {
    std::vector<std::vector<double>> out;
    std::vector<double> rest(points.size());
    for (std::size_t kind = 0; kind < kinds_.size(); ++kind) {
      std::vector<double> column;
      for (const SettledPoint* point : points) {
        double amps = 0;
        for (const std::size_t channel : kinds_[kind]) amps += static_cast<double>(point->values[channel]);
        column.push_back(amps);
      }
      const auto [least, most] = std::ranges::minmax(column);
      const bool moved = most - least >= kLeastSpanA;
      if (kind == 0 && !moved) return {};
      if (moved && kind < kinds_.size() - 1) {
        out.push_back(std::move(column));
        continue;
      }
      for (std::size_t i = 0; i < rest.size(); ++i) rest[i] += column[i];
    }
    const auto [least, most] = std::ranges::minmax(rest);
    if (most - least >= kLeastSpanA) out.push_back(std::move(rest));
    return out;
  }

 private:
  std::array<std::vector<std::size_t>, 3> kinds_;
};

/// The slope on the group's load, with about 95 %; left out where it cannot be told.
void slope_of(const model::Jig& jig, const JigChannel& ground, const std::vector<std::size_t>& group,
              std::uint8_t rails, const std::vector<const SettledPoint*>& points, ReturnDrop& out) {
  std::vector<double> loads;
  for (const SettledPoint* point : points) {
    double load = 0;
    for (const std::size_t current : group) load += static_cast<double>(point->values[current]);
    loads.push_back(load);
  }
  out.set_slope_unit("ohm");
  if (const std::string lack = too_little_spread(loads); !lack.empty()) {
    out.set_expected_refusal(lack);
    return;
  }
  const auto columns = ReturnLoads(jig, group, rails).columns(points);
  std::vector<double> volts;
  for (const SettledPoint* point : points) volts.push_back(static_cast<double>(point->values[ground.index]));
  const bool apart = columns.size() == 1 || (!columns.empty() && condition_number(columns) <= kConditionMost);
  const auto fit = apart ? robust_fit(columns, volts) : std::nullopt;
  if (!fit) {
    out.set_expected_refusal("currents moved together, not separable");
    return;
  }
  double gain = 0;
  for (const std::size_t current : group) gain = std::max(gain, gain_u(*jig.at(current), std::ranges::max(loads)));
  const double slope = fit->slopes[0];
  const double half = std::hypot(judge::student_factor(kCoverage95, fit->dof) * fit->slopes_u[0], 2 * gain * slope);
  out.set_slope(slope);
  out.set_slope_low(slope - half);
  out.set_slope_high(slope + half);
}

void expect(const model::Jig& jig, const JigChannel& ground, const steadyrail::proto::Unit* unit, ReturnDrop& out) {
  const std::vector<std::string> connectors = group_connectors(jig, ground);
  for (const std::string& connector : connectors) out.add_connectors(connector);
  if (!out.has_slope()) return;
  const auto ohm = judge::return_ohm(unit, connectors);
  if (!ohm) {
    out.set_expected_refusal(ohm.error());
    return;
  }
  out.set_expected(ohm->expected);
  out.set_expected_most(ohm->most);
  out.set_flagged(out.slope_low() > ohm->most);
}

ReturnDrop drop_of(const model::Jig& jig, const JigChannel& ground, const PointStore& store) {
  ReturnDrop out;
  out.set_channel(ground.name);
  out.set_connector(ground.connector);
  out.set_unit("V");
  const std::vector<std::size_t> currents = group_currents(jig, ground);
  std::uint8_t rails = 0;
  for (std::size_t current : currents) rails |= rail_bit(jig.at(current)->rail);
  std::vector<std::pair<double, double>> points;  // load, volts
  std::vector<const SettledPoint*> settled;
  for (const SettledPoint& point : store.points()) {
    if (!point.has(rails)) continue;
    settled.push_back(&point);
    double load = 0;
    for (std::size_t current : currents) load += static_cast<double>(point.values[current]);
    points.emplace_back(load, static_cast<double>(point.values[ground.index]));
  }
  out.set_points(static_cast<std::uint32_t>(points.size()));
  if (points.empty()) {
    out.set_refusal(currents.empty() ? "no current channel belongs to its connectors" : "no settled level was seen");
    out.set_expected_refusal(out.refusal());
    return out;
  }
  slope_of(jig, ground, currents, rails, settled, out);
  std::ranges::sort(points);
  out.set_least(std::ranges::min_element(points, {}, &std::pair<double, double>::second)->second);
  out.set_most(std::ranges::max_element(points, {}, &std::pair<double, double>::second)->second);
  const auto top = static_cast<std::size_t>(std::ceil(kTopShare * static_cast<double>(points.size())));
  std::vector<double> loads;
  std::vector<double> volts;
  for (std::size_t i = points.size() - top; i < points.size(); ++i) {
    loads.push_back(points[i].first);
    volts.push_back(points[i].second);
  }
  out.set_value(median_of(volts));
  out.set_load_a(median_of(loads));
  out.set_expanded_uncertainty(judge::expanded_uncertainty(ground, out.value(), kMeanSamples).expanded);
  return out;
}

}  // namespace

void write_returns(const model::Jig& jig, const SettledLevels& levels, const steadyrail::proto::Unit* unit,
                   steadyrail::proto::SessionResult& result) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_GROUND_OFFSET) continue;
    ReturnDrop out = drop_of(jig, channel, levels.chip());
    out.set_source(FigureSource::FIGURE_SOURCE_CHIP);
    if (!out.refusal().empty()) {
      out = drop_of(jig, channel, levels.window());
      out.set_source(FigureSource::FIGURE_SOURCE_WINDOW);
    }
    expect(jig, channel, unit, out);
    *result.add_return_drops() = std::move(out);
  }
}

void write_burdens(const model::Jig& jig, const SettledLevels& levels, steadyrail::proto::SessionResult& result) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_CURRENT) continue;
    auto* row = result.add_jig_burdens();
    row->set_channel(channel.name);
    row->set_connector(channel.connector);
    row->set_unit("V");
    bool seen = false;
    double most = 0;
    for (const PointStore* store : {&levels.chip(), &levels.window()}) {
      for (const SettledPoint& point : store->points()) {
        if ((point.settled & rail_bit(channel.rail)) == 0) continue;
        const auto amps = static_cast<double>(point.values[channel.index]);
        most = seen ? std::max(most, amps) : amps;
        seen = true;
      }
    }
    row->set_current_a(most);
    if (!seen) {
      row->set_refusal("no settled level was seen");
    } else if (!channel.burden_ohm) {
      row->set_refusal("the calibration holds no burden for it");
    } else {
      row->set_value(*channel.burden_ohm * most);
      row->set_expanded_uncertainty(2 * channel.u_burden_ohm * std::abs(most));
    }
  }
}

}  // namespace host::detect
