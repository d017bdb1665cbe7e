// SPDX-License-Identifier: Apache-2.0
#include "host/detect/start_up.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "host/detect/arm.h"
#include "host/detect/sequence.h"
#include "host/judge/limit.h"
#include "host/judge/uncertainty.h"

namespace host::detect {
namespace {

using steadyrail::proto::Quantity;
using steadyrail::proto::Rail;

constexpr double kTenth = 0.10;         // of nominal: where the rise time begins, in every edition
constexpr double kArrivedShare = 0.95;  // of nominal: in regulation, where no edition says
constexpr double kAboveShare = 1.10;    // of nominal: too high, where no edition says
constexpr double kFallShare = 0.90;     // below it again before PWR_OK: the supply began anew; own choice

constexpr double kNeverS = 1e3;  // longer than any limit: what has not come yet may come so late

// Round the converter's crossing, within which a comparator's edge belongs to it.
constexpr double kEdgeReachScans = 64;

bool is_main(Rail rail) {
  return rail == Rail::RAIL_P12V || rail == Rail::RAIL_P5V || rail == Rail::RAIL_P3V3;
}

double ms(double seconds) {
  return 1e3 * seconds;
}

}  // namespace

std::vector<RailWatch> watched_rails(const model::Jig& jig, const steadyrail::proto::LimitSet* limits, Rails which) {
  std::vector<RailWatch> rails;
  for (const auto& channel : jig.channels()) {
    const bool standby = channel.rail == Rail::RAIL_P5VSB;
    const bool wanted = which == Rails::kStandby ? standby : is_main(channel.rail);
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE || !wanted) continue;
    const auto limit = limits == nullptr ? std::nullopt : judge::limit_for(*limits, channel);
    RailWatch watch{channel.index, channel.rail, model::rail_nominal_v(channel.rail), 0, 0};
    watch.least_v = limit ? limit->low.volts() : kArrivedShare * watch.nominal_v;
    watch.most_v = limit ? limit->high.volts() : kAboveShare * watch.nominal_v;
    rails.push_back(watch);
  }
  return rails;
}

StartUpReader::StartUpReader(const model::Jig& jig, const steadyrail::proto::LimitSet* limits, const History& history,
                             const CrossingBook& crossings)
    : jig_(jig),
      limits_(limits),
      history_(history),
      crossings_(crossings),
      rails_(watched_rails(jig, limits, Rails::kMain)) {
  if (limits == nullptr || !limits->has_ramp()) return;
  from_share_ = limits->ramp().from_share();
  to_share_ = limits->ramp().to_share();
}

std::optional<StartUp> StartUpReader::read(std::vector<History::Window> windows) const {
  StartUp start;
  if (windows.empty()) return std::nullopt;
  const auto* line = ps_on_channel(jig_);
  if (line != nullptr && line->value(history_.low(windows.front(), line->index)) >= kPsOnLow.volts()) {
    start.ps_on_low = crossings_.first(line->index, kPsOnLow.volts(), false, windows);
    // The comparator tells this very level, and where in the scan it was passed.
    const double at = start.ps_on_low ? start.ps_on_low->scan : 0;
    const auto edge =
        crossings_.edge_in(steadyrail::proto::LINE_PS_ON, false, at - kEdgeReachScans, at + kEdgeReachScans);
    if (start.ps_on_low && edge) start.ps_on_low = edge;
  }
  std::vector<Ramp> ramps;
  for (const RailWatch& watch : rails_) {
    const model::JigChannel& channel = *jig_.at(watch.channel);
    if (channel.value(history_.high(windows.front(), watch.channel)) >= kTenth * watch.nominal_v) continue;
    Ramp ramp{watch, {}, {}, {}, {}};
    const auto reached = [&](double volts) { return crossings_.first(watch.channel, volts, true, windows); };
    ramp.tenth = reached(kTenth * watch.nominal_v);
    if (!ramp.tenth) continue;
    ramp.arrived = reached(watch.least_v);
    ramp.from = reached(from_share_ * watch.nominal_v);
    ramp.to = reached(to_share_ * watch.nominal_v);
    ramps.push_back(ramp);
  }
  if (ramps.empty()) return std::nullopt;
  start.begin = *std::ranges::min_element(ramps, {}, [](const Ramp& ramp) { return ramp.tenth->scan; })->tenth;
  if (start.ps_on_low && start.ps_on_low->scan < start.begin.scan) start.begin = *start.ps_on_low;
  times(ramps, windows, start);
  for (const Ramp& ramp : ramps) {
    shape(ramp, windows, start);
    overshoot(ramp, windows, start);
  }
  const Sequence sequence = read_sequence(jig_, rails_, windows, history_, crossings_);
  start.order = sequence.order;
  if (sequence.above) {
    start.figures.push_back(*sequence.above);
    const double most = limits_ != nullptr && limits_->has_rail_order()
                            ? static_cast<double>(limits_->rail_order().above_most_uv()) * 1e-6
                            : 0.1;
    if (sequence.above->value > most) {
      start.oddities.push_back(
          fmt::format("+3.3 V stood {:.2f} V above another rail while starting", sequence.above->value));
    }
  }
  return start;
}

void StartUpReader::times(const std::vector<Ramp>& ramps, const Windows& windows, StartUp& start) const {
  const double rate = jig_.scan_rate_hz();
  const Ramp* last = &ramps.front();
  for (const Ramp& ramp : ramps) {
    if (!ramp.arrived) {
      last = nullptr;
      start.oddities.push_back(fmt::format("{} did not come into regulation", jig_.at(ramp.watch.channel)->name));
      break;
    }
    start.figures.push_back(
        interval(Quantity::QUANTITY_RISE_TIME, ramp.watch.channel, *ramp.tenth, *ramp.arrived, rate));
    if (ramp.arrived->scan > last->arrived->scan) last = &ramp;
  }
  if (last != nullptr && start.ps_on_low) {
    start.figures.push_back(
        interval(Quantity::QUANTITY_POWER_ON_TIME, last->watch.channel, *start.ps_on_low, *last->arrived, rate));
  }
  const auto* line = pwr_ok_channel(jig_);
  if (line == nullptr) return;
  const auto high = crossings_.first(line->index, kPwrOkHigh.volts(), true, windows);
  if (!high) {
    still_low(last, *line, windows, start);
    return;
  }
  start.pwr_ok = crossings_.edge_in(steadyrail::proto::LINE_PWR_OK, true, high->scan - kEdgeReachScans,
                                    high->scan + kEdgeReachScans);
  if (!start.pwr_ok) start.pwr_ok = high;
  const auto low = crossings_.first(line->index, kPwrOkLow.volts(), true, windows);
  if (low && high->scan >= low->scan) {
    start.figures.push_back(interval(Quantity::QUANTITY_PWR_OK_RISE_TIME, line->index, *low, *high, rate));
  }
  if (last == nullptr) return;
  const Timed delay = interval(Quantity::QUANTITY_PWR_OK_DELAY, line->index, *last->arrived, *start.pwr_ok, rate);
  start.figures.push_back(delay);
  if (delay.value < -2 * delay.u) {
    start.oddities.push_back(fmt::format("PWR_OK rose {:.2f} ms before {} was in regulation", -ms(delay.value),
                                         jig_.at(last->watch.channel)->name));
  }
}

void StartUpReader::still_low(const Ramp* last, const model::JigChannel& line, const Windows& windows,
                              StartUp& start) const {
  const auto seen = static_cast<double>(windows.back().end());
  if (line.value(history_.high(windows.back(), line.index)) >= kPwrOkHigh.volts()) return;
  start.oddities.push_back(
      fmt::format("PWR_OK had not risen {:.2f} s after the start", (seen - start.begin.scan) / jig_.scan_rate_hz()));
  if (last == nullptr) return;
  // It may still come, and may never: a lower bound.
  Instant end;
  end.scan = seen;
  Timed delay = interval(Quantity::QUANTITY_PWR_OK_DELAY, line.index, *last->arrived, end, jig_.scan_rate_hz());
  delay.late = kNeverS;
  start.figures.push_back(delay);
}

void StartUpReader::shape(const Ramp& ramp, const Windows& windows, StartUp& start) const {
  const model::JigChannel& channel = *jig_.at(ramp.watch.channel);
  if (!ramp.from || !ramp.to) return;
  const double rate = jig_.scan_rate_hz();
  const double lag = channel.delay_s() * rate;
  Windows inside;
  for (const auto& window : windows) {
    const bool in = static_cast<double>(window.start) >= ramp.from->scan + lag &&
                    static_cast<double>(window.end()) <= ramp.to->scan + lag;
    if (in) inside.push_back(window);
  }
  if (inside.empty()) return;
  // A later reading below an earlier one is a fall; inside one window it would not show.
  double highest = channel.value(history_.high(inside.front(), channel.index));
  const double noise = std::sqrt(2.0) * channel.noise_rms;
  Timed fall{Quantity::QUANTITY_RISE_FALL_BACK, channel.index, 0, noise, 0, inside.front().start};
  for (const auto& window : inside) {
    if (&window != &inside.front()) {
      const double back = highest - channel.value(history_.low(window, channel.index));
      if (back > fall.value) fall.value = back, fall.at = window.start;
    }
    highest = std::max(highest, channel.value(history_.high(window, channel.index)));
  }
  start.figures.push_back(fall);
  const double segment_s = limits_ != nullptr && limits_->has_ramp() ? limits_->ramp().segment_s() : 5e-3;
  Timed slope{Quantity::QUANTITY_RISE_SLOPE, channel.index, 0, 0, 0, 0};
  std::size_t j = 0;
  for (const auto& window : inside) {
    const auto end = static_cast<double>(window.start) + segment_s * rate;
    while (j < inside.size() && static_cast<double>(inside[j].start) < end) ++j;
    if (j == inside.size()) break;
    const double rise =
        channel.value(history_.mean(inside[j], channel.index)) - channel.value(history_.mean(window, channel.index));
    const double span_ms = ms(static_cast<double>(inside[j].start - window.start) / rate);
    if (slope.at != 0 && rise / span_ms >= slope.value) continue;
    slope.value = rise / span_ms;
    slope.u =
        std::sqrt(2.0) * judge::expanded_uncertainty(channel, ramp.watch.nominal_v, window.scans).standard / span_ms;
    slope.at = window.start;
  }
  if (slope.at != 0) start.figures.push_back(slope);
}

void StartUpReader::overshoot(const Ramp& ramp, const Windows& windows, StartUp& start) const {
  const model::JigChannel& channel = *jig_.at(ramp.watch.channel);
  Timed peak{Quantity::QUANTITY_TURN_ON_OVERSHOOT, channel.index, 0, 0, 0, 0};
  bool arrived = false;
  for (const auto& window : windows) {
    const double least = channel.value(history_.low(window, channel.index));
    const double most = channel.value(history_.high(window, channel.index));
    if (most > peak.value) peak.value = most, peak.at = window.start;
    const bool after = start.pwr_ok && static_cast<double>(window.start) > start.pwr_ok->scan;
    if (arrived && !after && least < kFallShare * ramp.watch.nominal_v) {
      start.oddities.push_back(fmt::format("{} fell below 90 % of nominal again before PWR_OK", channel.name));
      arrived = false;
    }
    arrived = arrived || least >= kArrivedShare * ramp.watch.nominal_v;
  }
  peak.u = judge::expanded_uncertainty(channel, peak.value, 1).standard;
  start.figures.push_back(peak);
}

}  // namespace host::detect
