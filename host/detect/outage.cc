// SPDX-License-Identifier: Apache-2.0
#include "host/detect/outage.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

#include "host/detect/arm.h"

namespace host::detect {
namespace {

using steadyrail::proto::Rail;

constexpr double kSettleScans = 1.5;        // of the chain, from 2.4 to 0.4 V of a fast edge
constexpr double kComparatorUScans = 0.01;  // only a comparator is as sure as that
constexpr double kSameEdgeScans = 0.75;     // comparator and converter saw one fast edge
constexpr double kEdgeReachScans = 64;
constexpr double kLoadS = 5e-3;
constexpr double kShareS = 20e-3;   // longer than a protection waits; own choice
constexpr double kLoadGapS = 1e-3;  // the load's own change as the rails go is left out

const char* const kPwrOkWord = "PWR_OK";
const char* const kPsOnWord = "PS_ON#";
const char* const kMainsWord = "mains";

std::string later(double seconds) {
  if (std::abs(seconds) < 1e-3) return fmt::format("{:.0f} us", 1e6 * seconds);
  return fmt::format("{:.{}f} ms", 1e3 * seconds, std::abs(seconds) < 0.1 ? 2 : 0);
}

std::optional<double> label_amps(const steadyrail::proto::Unit& unit, Rail rail) {
  for (const auto& rating : unit.rails()) {
    if (rating.rail() == rail && rating.has_amps()) return rating.amps();
  }
  return std::nullopt;
}

}  // namespace

OutageReader::OutageReader(const model::Jig& jig, const steadyrail::proto::LimitSet* limits,
                           const steadyrail::proto::Unit* unit, const History& history, const CrossingBook& crossings,
                           const MainsLosses& losses)
    : jig_(jig),
      unit_(unit),
      history_(history),
      crossings_(crossings),
      losses_(losses),
      rails_(watched_rails(jig, limits, Rails::kMain)),
      standby_(watched_rails(jig, limits, Rails::kStandby)) {}

Instant OutageReader::pwr_ok_fell(const Windows& windows, const History::Window& fell) const {
  const auto* line = pwr_ok_channel(jig_);
  Windows near;
  for (const auto& window : windows) {
    if (window.end() >= fell.start && window.start <= fell.end()) near.push_back(window);
  }
  auto left = crossings_.first(line->index, kPwrOkHigh.volts(), false, near);
  if (!left) left = Instant{static_cast<double>(fell.start), static_cast<double>(fell.scans), {}};
  // Of a slow fall the converter's 2.4 V comes before the comparator's 0.8 V. Of a fast one both see the same edge, and
  // only the comparator knows where in the scan it lay.
  const auto edge = crossings_.edge_in(steadyrail::proto::LINE_PWR_OK, false, left->scan - kEdgeReachScans,
                                       left->scan + kEdgeReachScans);
  return edge && std::abs(edge->scan - left->scan) < kSameEdgeScans ? *edge : *left;
}

void OutageReader::rails_fell(const Windows& windows, std::vector<Fact>& facts) const {
  for (const Rail rail : {Rail::RAIL_P12V, Rail::RAIL_P5V, Rail::RAIL_P3V3, Rail::RAIL_P5VSB}) {
    std::optional<Instant> low, high;
    std::string label;
    for (const RailWatch& watch : rail == Rail::RAIL_P5VSB ? standby_ : rails_) {
      if (watch.rail != rail) continue;
      label = jig_.at(watch.channel)->rail_label;
      // Standby may come back at once, when the PC lets go of it: its first fall counts.
      const auto fell = rail == Rail::RAIL_P5VSB ? crossings_.first(watch.channel, watch.least_v, false, windows)
                                                 : crossings_.left(watch.channel, watch.least_v, windows);
      if (fell && (!low || fell->scan < low->scan)) low = fell;
      const auto rose = crossings_.first(watch.channel, watch.most_v, true, windows);
      if (rose && (!high || rose->scan < high->scan)) high = rose;
    }
    if (low) facts.push_back({*low, label, label + " fell out of regulation"});
    if (high) facts.push_back({*high, label + " too high", label + " rose above its limit"});
  }
}

void OutageReader::add_request(const Windows& windows, const Instant& fell, std::vector<Fact>& facts) const {
  if (const auto loss = losses_.at(fell.scan, kBeforeS * jig_.scan_rate_hz())) {
    Instant at{loss->start, 0, steadyrail::proto::FIGURE_SOURCE_CHIP};
    facts.push_back({at, kMainsWord, "the mains was lost or dipped"});
  }
  const auto* line = ps_on_channel(jig_);
  if (line == nullptr || windows.empty()) return;
  const auto from = static_cast<double>(windows.front().start);
  const auto to = static_cast<double>(windows.back().end());
  auto high = crossings_.edge_in(steadyrail::proto::LINE_PS_ON, true, from, to);
  if (!high && line->value(history_.low(windows.front(), line->index)) < kPsOnHigh.volts()) {
    high = crossings_.first(line->index, kPsOnHigh.volts(), true, windows);
  }
  if (high) facts.push_back({*high, kPsOnWord, "PS_ON# went high"});
}

OutageReader::RailAmps OutageReader::rail_amps(const History::Window& window) const {
  RailAmps out;
  for (const auto& channel : jig_.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_CURRENT) continue;
    out.mean[channel.rail] += channel.value(history_.mean(window, channel.index));
    out.most[channel.rail] += channel.value(history_.high(window, channel.index));
    out.measured[channel.rail] = true;
  }
  return out;
}

std::string OutageReader::load_before(const Windows& windows, double scan) const {
  const double rate = jig_.scan_rate_hz();
  std::array<double, judge::kRailCount> amps{};
  std::array<bool, judge::kRailCount> measured{};
  std::size_t count = 0;
  for (const auto& window : windows) {
    const double before = (scan - static_cast<double>(window.end())) / rate;
    if (before < kLoadGapS || before > kLoadGapS + kLoadS) continue;
    ++count;
    const RailAmps one = rail_amps(window);
    measured = one.measured;
    for (std::size_t i = 0; i < amps.size(); ++i) amps[i] += one.mean[i];
  }
  std::string words;
  for (std::size_t i = 1; i < amps.size() && count > 0; ++i) {
    if (!measured[i]) continue;
    const auto rail = static_cast<Rail>(i);
    words += words.empty() ? "before it at least " : ", ";
    words += fmt::format("{:.1f} A on {}", amps[i] / static_cast<double>(count), model::rail_label(rail));
    const auto label = unit_ == nullptr ? std::nullopt : label_amps(*unit_, rail);
    if (label) words += fmt::format(" (label {:g} A)", *label);
  }
  return words;
}

void OutageReader::load_shares(const Windows& windows, double scan, Outage& outage) const {
  for (const auto& window : windows) {
    const double before = (scan - static_cast<double>(window.end())) / jig_.scan_rate_hz();
    // The window of the fall itself: its samples may hold the very load that caused it, its mean is of both sides.
    const bool holds_fall = before < 0 && static_cast<double>(window.start) <= scan;
    if (unit_ == nullptr || before > kShareS || (before < 0 && !holds_fall)) continue;
    const RailAmps one = rail_amps(window);
    for (std::size_t i = 1; i < one.mean.size(); ++i) {
      const auto label = label_amps(*unit_, static_cast<Rail>(i));
      if (!label || !(*label > 0)) continue;
      if (!holds_fall) outage.load_share = std::max(outage.load_share.value_or(0), one.mean[i] / *label);
      outage.load_share_most = std::max(outage.load_share_most.value_or(0), one.most[i] / *label);
    }
  }
}

void OutageReader::warning(const Windows& windows, const std::vector<Fact>& facts, Outage& outage) const {
  const auto asked =
      std::ranges::find_if(facts, [](const Fact& fact) { return fact.name == kMainsWord || fact.name == kPsOnWord; });
  const bool in_time = asked != facts.end() && asked->at.scan <= outage.begin.scan + 1;
  if (!in_time) return;
  std::optional<Instant> rail;
  std::size_t channel = 0;
  for (const RailWatch& watch : rails_) {
    const auto fell = crossings_.left(watch.channel, watch.least_v, windows);
    if (!fell || (rail && fell->scan >= rail->scan)) continue;
    rail = fell;
    channel = watch.channel;
  }
  Windows after;
  for (const auto& window : windows) {
    if (static_cast<double>(window.end()) > outage.begin.scan) after.push_back(window);
  }
  auto low = crossings_.first(pwr_ok_channel(jig_)->index, kPwrOkLow.volts(), false, after);
  // The end of a fast edge reaches the converter late; the comparator saw it whole.
  const bool fast = outage.begin.u_scans < kComparatorUScans;
  if (low && fast && low->scan - outage.begin.scan < kSettleScans) {
    low->scan = outage.begin.scan;
    low->u_scans = kSettleScans / std::sqrt(12.0);
  }
  if (rail && low) {
    outage.warning = interval(steadyrail::proto::QUANTITY_PWR_OK_TO_RAILS, channel, *low, *rail, jig_.scan_rate_hz());
  }
}

Outage OutageReader::read(const Windows& windows, const History::Window& fell) const {
  Outage outage;
  outage.begin = pwr_ok_fell(windows, fell);
  std::vector<Fact> facts;
  facts.push_back({outage.begin, kPwrOkWord, "PWR_OK went low"});
  rails_fell(windows, facts);
  add_request(windows, outage.begin, facts);
  std::ranges::stable_sort(facts, {}, [](const Fact& fact) { return fact.at.scan; });
  outage.first = facts.front().name;
  const double rate = jig_.scan_rate_hz();
  const auto has = [&](std::string_view name) { return std::ranges::find(facts, name, &Fact::name) != facts.end(); };
  for (std::size_t i = 0; i < facts.size(); ++i) {
    const double since = (facts[i].at.scan - facts.front().at.scan) / rate;
    outage.story += i == 0 ? "first " + facts[i].words : fmt::format(", {} later {}", later(since), facts[i].words);
  }
  for (const RailWatch& watch : rails_)
    outage.rails_held = outage.rails_held && !has(jig_.at(watch.channel)->rail_label);
  if (outage.rails_held) outage.story += "; the main rails stayed in regulation";
  if (losses_.watched() && !has(kMainsWord)) outage.story += "; the mains was there";
  if (ps_on_channel(jig_) != nullptr && !has(kPsOnWord)) outage.story += "; PS_ON# stayed low";
  const std::string load = load_before(windows, facts.front().at.scan);
  if (!load.empty()) outage.story += "; " + load;
  load_shares(windows, facts.front().at.scan, outage);
  warning(windows, facts, outage);
  return outage;
}

}  // namespace host::detect
