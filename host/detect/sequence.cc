// SPDX-License-Identifier: Apache-2.0
#include "host/detect/sequence.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <fmt/format.h>

#include "host/detect/start_up.h"
#include "host/judge/uncertainty.h"

namespace host::detect {
namespace {

using steadyrail::proto::Rail;

const RailWatch* of(std::span<const RailWatch> rails, Rail rail) {
  const auto found = std::ranges::find(rails, rail, &RailWatch::rail);
  return found == rails.end() ? nullptr : &*found;
}

std::string order_at(double share, const model::Jig& jig, std::span<const RailWatch> rails,
                     std::span<const History::Window> windows, const CrossingBook& crossings) {
  struct Row {
    double scan;
    double u;
    std::string label;
  };
  std::vector<Row> rows;
  for (const Rail rail : {Rail::RAIL_P12V, Rail::RAIL_P5V, Rail::RAIL_P3V3}) {
    const RailWatch* watch = of(rails, rail);
    if (watch == nullptr) continue;
    const auto at = crossings.first(watch->channel, share * watch->nominal_v, true, windows);
    if (at) rows.push_back({at->scan, at->u_scans, jig.at(watch->channel)->rail_label});
  }
  std::ranges::stable_sort(rows, {}, &Row::scan);
  std::string words;
  for (std::size_t i = 0; i < rows.size(); ++i) {
    // Closer than twice the uncertainty of both: no order is claimed.
    const bool told = i > 0 && rows[i].scan - rows[i - 1].scan > 2 * std::hypot(rows[i].u, rows[i - 1].u);
    words += i == 0 ? "" : told ? ", then " : " with ";
    words += rows[i].label;
  }
  return words;
}

}  // namespace

Sequence read_sequence(const model::Jig& jig, std::span<const RailWatch> rails,
                       std::span<const History::Window> windows, const History& history,
                       const CrossingBook& crossings) {
  Sequence sequence;
  const std::string low = order_at(0.2, jig, rails, windows, crossings);
  const std::string high = order_at(0.8, jig, rails, windows, crossings);
  if (!low.empty()) sequence.order = fmt::format("at 20 % {}; at 80 % {}", low, high.empty() ? "none" : high);
  const RailWatch* small = of(rails, Rail::RAIL_P3V3);
  for (const Rail rail : {Rail::RAIL_P12V, Rail::RAIL_P5V}) {
    const RailWatch* great = of(rails, rail);
    if (small == nullptr || great == nullptr) continue;
    const auto mean = [&](const RailWatch& watch, const History::Window& window) {
      return jig.at(watch.channel)->value(history.mean(window, watch.channel));
    };
    for (const History::Window& window : windows) {
      const double above = mean(*small, window) - mean(*great, window);
      if (sequence.above && above <= sequence.above->value) continue;
      sequence.above = Timed{steadyrail::proto::QUANTITY_RAIL_ORDER, small->channel, above, 0, 0, window.start};
      sequence.above->u =
          std::hypot(judge::expanded_uncertainty(*jig.at(small->channel), small->nominal_v, window.scans).standard,
                     judge::expanded_uncertainty(*jig.at(great->channel), small->nominal_v, window.scans).standard);
    }
  }
  return sequence;
}

}  // namespace host::detect
