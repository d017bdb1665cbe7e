// SPDX-License-Identifier: Apache-2.0
#include "host/detect/return_drop.h"

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "host/detect/theil_sen.h"
#include "host/judge/uncertainty.h"

namespace host::detect {
namespace {

using model::JigChannel;
using steadyrail::proto::FigureSource;
using steadyrail::proto::ReturnDrop;

constexpr double kMeanSamples = 32;
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

ReturnDrop drop_of(const model::Jig& jig, const JigChannel& ground, const PointStore& store) {
  ReturnDrop out;
  out.set_channel(ground.name);
  out.set_connector(ground.connector);
  out.set_unit("V");
  const std::vector<std::size_t> currents = group_currents(jig, ground);
  std::uint8_t rails = 0;
  for (std::size_t current : currents) rails |= rail_bit(jig.at(current)->rail);
  std::vector<std::pair<double, double>> points;  // load, volts
  for (const SettledPoint& point : store.points()) {
    if (!point.has(rails)) continue;
    double load = 0;
    for (std::size_t current : currents) load += static_cast<double>(point.values[current]);
    points.emplace_back(load, static_cast<double>(point.values[ground.index]));
  }
  out.set_points(static_cast<std::uint32_t>(points.size()));
  if (points.empty()) {
    out.set_refusal(currents.empty() ? "no current channel belongs to its connectors" : "no settled level was seen");
    return out;
  }
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

void write_returns(const model::Jig& jig, const SettledLevels& levels, steadyrail::proto::SessionResult& result) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_GROUND_OFFSET) continue;
    ReturnDrop out = drop_of(jig, channel, levels.chip());
    out.set_source(FigureSource::FIGURE_SOURCE_CHIP);
    if (!out.refusal().empty()) {
      out = drop_of(jig, channel, levels.window());
      out.set_source(FigureSource::FIGURE_SOURCE_WINDOW);
    }
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
