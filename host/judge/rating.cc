// SPDX-License-Identifier: Apache-2.0
#include "host/judge/rating.h"

#include <algorithm>
#include <cmath>

#include "host/judge/uncertainty.h"

namespace host::judge {
namespace {

using steadyrail::proto::LimitSet;
using steadyrail::proto::Rail;
using steadyrail::proto::RailRating;
using steadyrail::proto::SubRail;
using steadyrail::proto::Unit;
using steadyrail::proto::WithinRating;

// A rail needs some milliseconds to come back from an overload; that way belongs to the overload. Common practice, no
// source.
constexpr double kRecoveryS = 10e-3;
constexpr double kSmallSupplyW = 450;  // up to here the table's first column holds whatever the connectors

bool carries(const model::JigChannel& channel) {
  return channel.kind == steadyrail::proto::CHANNEL_KIND_CURRENT && channel.calibrated &&
         channel.rail != Rail::RAIL_UNKNOWN;
}

std::uint32_t bit(Rail rail) {
  return 1U << static_cast<unsigned>(rail);
}

bool in_range(Rail rail) {
  return rail > Rail::RAIL_UNKNOWN && static_cast<std::size_t>(rail) < kRailCount;
}

float volts(Rail rail) {
  return static_cast<float>(std::abs(model::rail_nominal_v(rail)));
}

}  // namespace

WithinRating within_rating(Load load) {
  if (load == Load::kWithin) return WithinRating::WITHIN_RATING_YES;
  if (load == Load::kOutside) return WithinRating::WITHIN_RATING_NO;
  return WithinRating::WITHIN_RATING_UNKNOWN;
}

Rating::Rating(const model::Jig& jig, const Unit* unit, const LimitSet* limits) {
  if (unit == nullptr) {
    remarks_.push_back("no unit description: whether the load was within the rating is not known");
    return;
  }
  if (limits != nullptr) {
    for (const auto& row : limits->excursion()) {
      if (!(row.duration_s() > 0) || !std::isfinite(row.duration_s())) continue;
      rows_.push_back({row.duration_s(), row.percent_small() / 100, row.percent_large() / 100,
                       row.status() != steadyrail::proto::LIMIT_STATUS_FROM_MEMORY});
    }
    std::ranges::sort(rows_, {}, &Row::duration_s);
  }
  total_w_ = unit->total_w();
  add_rails(jig, *unit);
  add_sums(jig, *unit);
  bool blind = false;
  for (const auto& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE) continue;
    blind = blind || !channel.current;
  }
  if (!checks_.empty() && blind) {
    remarks_.push_back(
        "some connectors carry no current channel: currents and power are lower bounds, and \"within rating\" says "
        "only "
        "that what was measured did not exceed the label");
  }
}

void Rating::add_check(const model::Jig& jig, Check check, double limit) {
  if (check.channels.empty() || !(limit > 0)) return;
  check.limit = limit;
  for (std::size_t i = 0; i < check.channels.size(); ++i) {
    const model::JigChannel* channel = jig.at(check.channels[i]);
    const double amps = limit / check.weights[i] / static_cast<double>(check.channels.size());
    // Added, not squared: the channels share a meter, so their errors may agree.
    check.uncertainty += check.weights[i] * expanded_uncertainty(*channel, amps, 1).expanded;
  }
  for (std::size_t channel : check.channels) {
    if (std::ranges::find(channels_, channel) == channels_.end()) channels_.push_back(channel);
  }
  checks_.push_back(std::move(check));
}

void Rating::add_rails(const model::Jig& jig, const Unit& unit) {
  for (const RailRating& rating : unit.rails()) {
    if (!in_range(rating.rail())) continue;
    Check whole;
    whole.rails = bit(rating.rail());
    // Published excursions are of the whole supply and are drawn from +12 V.
    whole.excursions = rating.rail() == Rail::RAIL_P12V;
    for (const auto& channel : jig.channels()) {
      if (!carries(channel) || channel.rail != rating.rail()) continue;
      whole.channels.push_back(channel.index);
      whole.weights.push_back(1);
    }
    if (rating.amps() > 0 && !whole.channels.empty()) known_[rating.rail()] = true;
    add_check(jig, whole, rating.amps());
    for (const SubRail& sub : rating.sub_rails()) {
      Check part;
      part.rails = whole.rails;
      part.excursions = whole.excursions;
      for (const auto& channel : jig.channels()) {
        if (!carries(channel) || channel.rail != rating.rail()) continue;
        if (std::ranges::find(sub.connectors(), channel.connector) == sub.connectors().end()) continue;
        part.channels.push_back(channel.index);
        part.weights.push_back(1);
      }
      add_check(jig, std::move(part), sub.amps());
    }
  }
}

void Rating::add_sums(const model::Jig& jig, const Unit& unit) {
  const auto add = [&](double watts, std::uint32_t measured, std::uint32_t judged, bool excursions) {
    Check sum;
    sum.rails = judged;
    sum.excursions = excursions;
    for (const auto& channel : jig.channels()) {
      if (!carries(channel) || (measured & bit(channel.rail)) == 0) continue;
      sum.channels.push_back(channel.index);
      sum.weights.push_back(volts(channel.rail));
    }
    add_check(jig, std::move(sum), watts);
  };
  for (const auto& combined : unit.combined()) {
    std::uint32_t rails = 0;
    for (int rail : combined.rails()) rails |= in_range(static_cast<Rail>(rail)) ? bit(static_cast<Rail>(rail)) : 0;
    add(combined.watts(), rails, rails, false);
  }
  constexpr std::uint32_t kAll = (1U << kRailCount) - 2;
  add(unit.total_w(), kAll, kAll, true);
}

void Rating::gap() {
  for (Check& check : checks_) check.run = 0;
  recovering_.fill(0);
}

Load Rating::judge_window(Check& check, const BlockLoads& loads, std::uint32_t window, double window_s) const {
  double low = 0;
  double high = 0;
  double widest = 0;
  for (std::size_t i = 0; i < check.channels.size(); ++i) {
    const double least = check.weights[i] * loads.low[check.channels[i]][window];
    const double most = check.weights[i] * loads.high[check.channels[i]][window];
    low += least;
    high += most;
    widest = std::max(widest, most - least);
  }
  // Extremes of different channels need not coincide: the sum of the greatest is an upper bound, and one channel's
  // greatest with the others' least was certainly reached.
  const double certain = low + widest - check.uncertainty;
  const double possible = high + check.uncertainty;
  if (possible <= check.limit) {
    check.run = 0;
    return Load::kWithin;
  }
  if (check.run < UINT32_MAX) ++check.run;
  double small = 1;
  double large = 1;
  bool published = true;
  if (check.excursions) {
    const double duration = check.run * window_s;
    for (const Row& row : rows_) {
      if (duration > row.duration_s * (1 + 1e-9)) continue;
      small = row.small;
      large = total_w_ > kSmallSupplyW ? row.large : row.small;
      published = row.published;
      break;
    }
  }
  if (certain > check.limit * std::max(small, large)) return Load::kOutside;
  // Which column holds depends on a connector the description does not name: between them nothing is known. Nor is it
  // below a remembered allowance, which must not fail a unit.
  if (published && possible <= check.limit * std::min(small, large)) return Load::kWithin;
  return Load::kDoubtful;
}

void Rating::judge(const BlockLoads& loads, std::uint32_t windows, double window_s, BlockRating& out) {
  for (std::size_t rail = 0; rail < kRailCount; ++rail) {
    std::fill_n(out[rail].begin(), windows, known_[rail] ? Load::kWithin : Load::kUnknown);
  }
  std::array<float, wire::kChannelCount> greatest;
  for (std::size_t channel : channels_) {
    const auto& high = loads.high[channel];
    greatest[channel] = *std::max_element(high.begin(), high.begin() + windows);
  }
  bool beyond = std::ranges::any_of(recovering_, [](std::uint32_t left) { return left > 0; });
  for (Check& check : checks_) {
    double most = check.uncertainty;
    for (std::size_t i = 0; i < check.channels.size(); ++i) most += check.weights[i] * greatest[check.channels[i]];
    if (most <= check.limit) {
      check.run = 0;
      continue;
    }
    for (std::uint32_t window = 0; window < windows; ++window) {
      const Load state = judge_window(check, loads, window, window_s);
      if (state == Load::kWithin) continue;
      beyond = beyond || state == Load::kOutside;
      for (std::size_t rail = 1; rail < kRailCount; ++rail) {
        if ((check.rails & (1U << rail)) == 0) continue;
        Load& held = out[rail][window];
        if (held != Load::kOutside) held = state;
      }
    }
  }
  if (beyond) hold(out, windows, window_s);
}

void Rating::hold(BlockRating& rating, std::uint32_t windows, double window_s) {
  const auto recovery = static_cast<std::uint32_t>(std::ceil(kRecoveryS / window_s));
  for (std::size_t rail = 1; rail < kRailCount; ++rail) {
    for (std::uint32_t window = 0; window < windows; ++window) {
      Load& state = rating[rail][window];
      if (state == Load::kOutside) {
        recovering_[rail] = recovery;
      } else if (recovering_[rail] > 0) {
        --recovering_[rail];
        state = Load::kOutside;
      }
    }
  }
}

}  // namespace host::judge
