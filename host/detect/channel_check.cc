// SPDX-License-Identifier: Apache-2.0
#include "host/detect/channel_check.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include <fmt/format.h>

namespace host::detect {
namespace {

using model::JigChannel;
using steadyrail::proto::ChannelKind;
using steadyrail::proto::Decision;
using steadyrail::proto::Rail;

constexpr double kSecondS = 1;
// Common practice, no source: three times the widest regulation, and no two nominals come within it of each other.
constexpr double kRailShare = 0.15;
constexpr double kMissingShare = 0.10;  // of nominal; common practice, no source
// Gaussian noise of this many codes leaves half a code round its mean in 1.2 % of samples (2.5 sigma): that none of a
// second's did does not happen. With less, a sound channel may stand on one code.
constexpr double kNoiseLeastCodes = 0.2;

constexpr std::array kRails = {Rail::RAIL_P12V, Rail::RAIL_P5V, Rail::RAIL_P3V3, Rail::RAIL_M12V, Rail::RAIL_P5VSB};

bool near_nominal(double volts, Rail rail) {
  const double nominal = model::rail_nominal_v(rail);
  return std::abs(volts - nominal) <= kRailShare * std::abs(nominal);
}

bool is_rail(const JigChannel& channel) {
  return channel.kind == ChannelKind::CHANNEL_KIND_RAIL_VOLTAGE;
}

/// Marker and thermistor inputs may be left open.
bool is_watched(const JigChannel& channel) {
  return channel.kind != ChannelKind::CHANNEL_KIND_AUXILIARY;
}

/// The rail a voltage belongs to. +5 V and +5 V standby are alike: the first is named.
Rail rail_of(double volts) {
  const auto* const rail = std::ranges::find_if(kRails, [&](Rail one) { return near_nominal(volts, one); });
  return rail == kRails.end() ? Rail::RAIL_UNKNOWN : *rail;
}

bool same_nominal(Rail a, Rail b) {
  return model::rail_nominal_v(a) == model::rail_nominal_v(b);
}

/// Whether the finding's reading is what its channel gives on `rail`: that rail's voltage, or an end of the range
/// which the rail lies beyond.
bool could_carry(const JigChannel& channel, const ChannelFinding& finding, Rail rail) {
  if (finding.fault == ChannelFault::kWrongRail) return same_nominal(finding.carried, rail);
  if (finding.fault != ChannelFault::kClipped) return false;
  return model::rail_nominal_v(rail) > std::max(channel.value(INT16_MIN), channel.value(INT16_MAX));
}

}  // namespace

ChannelCheck::ChannelCheck(const model::Jig& jig) : jig_(jig) {}

void ChannelCheck::gap() {
  on_ = {};
  standby_ = {};
}

void ChannelCheck::add(const Block& block) {
  if (!block.follows) gap();
  if (block.on == block.all()) {
    if (add(block, on_)) {
      judge(on_, true, block.end());
      on_ = {};
    }
  } else {
    on_ = {};
  }
  if (block.standby == block.all() && block.on == 0) {
    if (add(block, standby_)) {
      judge(standby_, false, block.end());
      standby_ = {};
    }
  } else {
    standby_ = {};
  }
}

bool ChannelCheck::add(const Block& block, Second& second) const {
  for (const JigChannel& channel : jig_.channels()) {
    Second::Channel& one = second.channels[channel.index];
    const std::int16_t low = block.low[channel.index];
    const std::int16_t high = block.high[channel.index];
    one.low = second.blocks == 0 ? low : std::min(one.low, low);
    one.high = second.blocks == 0 ? high : std::max(one.high, high);
    one.sum += static_cast<double>(block.sum_8[channel.index]) / 8 * block.scans;
    one.moved += low < high ? 1 : 0;
    one.at_bottom += low == INT16_MIN ? 1 : 0;
    one.at_top += high == INT16_MAX ? 1 : 0;
  }
  ++second.blocks;
  second.scans += std::uint64_t{block.scans} * block.count;
  return static_cast<double>(second.scans) >= kSecondS * jig_.scan_rate_hz();
}

bool ChannelCheck::known(std::size_t channel) const {
  return std::ranges::find(findings_, channel, &ChannelFinding::channel) != findings_.end();
}

bool ChannelCheck::stuck(const Second& second, const JigChannel& channel) const {
  const Second::Channel& one = second.channels[channel.index];
  // An end of the range is a bound, and 0 V a reading.
  if (one.low != one.high || one.low == INT16_MIN || one.low == INT16_MAX) return false;
  if (channel.noise_rms < kNoiseLeastCodes * std::abs(channel.per_code)) return false;
  std::size_t watched = 0, moving = 0;
  for (const JigChannel& other : jig_.channels()) {
    if (!is_watched(other) || other.index == channel.index) continue;
    ++watched;
    moving += 2 * second.channels[other.index].moved > second.blocks ? 1 : 0;
  }
  return 2 * moving > watched;
}

void ChannelCheck::judge(const Second& second, bool supply_on, std::uint64_t end) {
  Found found;
  for (const JigChannel& channel : jig_.channels()) {
    // With the supply off the main rails are none, and what they read means nothing.
    if (!is_watched(channel) || known(channel.index)) continue;
    if (!supply_on && channel.rail != Rail::RAIL_P5VSB) continue;
    if (stuck(second, channel)) {
      found.push_back({.channel = channel.index, .fault = ChannelFault::kStuck, .scan = end, .words = {}});
    } else if (is_rail(channel)) {
      judge_voltage(second, channel, supply_on, found);
    } else {
      const Second::Channel& one = second.channels[channel.index];
      // A low line stands at 0 V, the bottom of its range.
      const bool bottom = one.at_bottom == second.blocks && channel.kind != ChannelKind::CHANNEL_KIND_LOGIC;
      if (!bottom && one.at_top != second.blocks) continue;
      found.push_back({.channel = channel.index, .fault = ChannelFault::kClipped, .scan = end, .words = {}});
    }
  }
  for (ChannelFinding& finding : found) finding.scan = end;
  pair(found);
  for (ChannelFinding& finding : found) finding.words = words(second, finding, found);
  findings_.insert(findings_.end(), found.begin(), found.end());
}

void ChannelCheck::judge_voltage(const Second& second, const JigChannel& channel, bool supply_on, Found& found) {
  const Second::Channel& one = second.channels[channel.index];
  const double nominal = model::rail_nominal_v(channel.rail);
  const double volts = channel.value(one.sum / static_cast<double>(second.scans));
  const double ends[2] = {channel.value(one.low), channel.value(one.high)};
  const auto add = [&](ChannelFault fault, Rail carried = Rail::RAIL_UNKNOWN) {
    found.push_back({.channel = channel.index, .fault = fault, .carried = carried, .words = {}});
  };
  if (near_nominal(volts, channel.rail)) {
    own_seen_[channel.index] = true;
    return;
  }
  const bool own_seen = own_seen_[channel.index];
  const auto within = [&](double share) {
    return std::ranges::all_of(ends, [&](double end) { return std::abs(end) < share * std::abs(nominal); });
  };
  if (!own_seen && within(kMissingShare)) {
    if (supply_on) add(ChannelFault::kMissing);
    return;
  }
  if (!own_seen && volts * nominal < 0) return add(ChannelFault::kWrongSign);
  // A positive rail's range begins at 0 V: its bottom is a reading.
  const bool bottom = nominal < 0 && one.at_bottom == second.blocks;
  if (bottom || one.at_top == second.blocks) return add(ChannelFault::kClipped);
  const Rail carried = rail_of(volts);
  if (own_seen || carried == Rail::RAIL_UNKNOWN) return;
  if (near_nominal(ends[0], carried) && near_nominal(ends[1], carried)) add(ChannelFault::kWrongRail, carried);
}

void ChannelCheck::pair(Found& found) const {
  Found all = findings_;
  all.insert(all.end(), found.begin(), found.end());
  const auto crossed = [&](const ChannelFinding& a, const ChannelFinding& b) {
    const JigChannel& of_a = *jig_.at(a.channel);
    const JigChannel& of_b = *jig_.at(b.channel);
    if (a.channel == b.channel || !is_rail(of_b) || same_nominal(of_a.rail, of_b.rail)) return false;
    return could_carry(of_a, a, of_b.rail) && could_carry(of_b, b, of_a.rail);
  };
  std::vector<std::size_t> swapped;
  for (const ChannelFinding& a : found) {
    if (a.fault != ChannelFault::kWrongRail || std::ranges::count(swapped, a.channel) != 0) continue;
    const auto b = std::ranges::find_if(all, [&](const ChannelFinding& one) {
      return std::ranges::count(swapped, one.channel) == 0 && crossed(a, one);
    });
    if (b == all.end()) continue;
    swapped.push_back(a.channel);
    swapped.push_back(b->channel);
  }
  for (std::size_t i = 0; i < swapped.size(); ++i) {
    const auto one = std::ranges::find(found, swapped[i], &ChannelFinding::channel);
    if (one == found.end()) continue;
    one->fault = ChannelFault::kSwapped;
    one->carried = jig_.at(swapped[i ^ 1U])->rail;
  }
}

std::string ChannelCheck::words(const Second& second, const ChannelFinding& finding, const Found& found) const {
  const JigChannel& channel = *jig_.at(finding.channel);
  const Second::Channel& one = second.channels[finding.channel];
  const double value = channel.value(one.sum / static_cast<double>(second.scans));
  const char* unit = channel.kind == ChannelKind::CHANNEL_KIND_CURRENT ? "A" : "V";
  std::string reads = fmt::format("{} reads {:.2f} {}", channel.name, value, unit);
  switch (finding.fault) {
    case ChannelFault::kStuck:
      return fmt::format("{} and did not move for a second while other channels did: stuck, a fault of the jig", reads);
    case ChannelFault::kClipped:
      return fmt::format("{}, an end of its range: a broken divider of the jig, or {} on its input", reads,
                         is_rail(channel) ? "a higher voltage than its rail's" : "more than it can read");
    case ChannelFault::kMissing:
      return fmt::format(
          "{} with the supply on, not {}: its plug or sense lead is off, the pair is shorted, or the plug is reversed",
          reads, channel.rail_label);
    case ChannelFault::kWrongSign:
      return fmt::format("{} with the supply on, the wrong sign for {}: its plug is reversed, or its sense lead is off",
                         reads, channel.rail_label);
    case ChannelFault::kWrongRail:
      return fmt::format("{}, the voltage of {} and not of {}: the wrong rail is on its plug", reads,
                         model::rail_label(finding.carried), channel.rail_label);
    case ChannelFault::kSwapped: {
      const auto partner = std::ranges::find_if(found, [&](const ChannelFinding& other) {
        return other.fault == ChannelFault::kSwapped && jig_.at(other.channel)->rail == finding.carried &&
               other.carried == channel.rail;
      });
      return fmt::format("{}, as it does on {} and not on {}: swapped{}", reads, model::rail_label(finding.carried),
                         channel.rail_label,
                         partner == found.end() ? "" : fmt::format(" with {}", jig_.at(partner->channel)->name));
    }
  }
  return reads;
}

void write_channel_findings(const model::Jig& jig, std::span<const ChannelFinding> findings,
                            steadyrail::proto::SessionResult& result) {
  const auto decided = [](Decision decision) { return decision != Decision::DECISION_NOT_TESTED; };
  for (const ChannelFinding& finding : findings) {
    const std::string& name = jig.at(finding.channel)->name;
    result.add_remarks(fmt::format("{} (found at {:.1f} s); nothing is judged on it", finding.words,
                                   static_cast<double>(finding.scan) / jig.scan_rate_hz()));
    for (auto& verdict : *result.mutable_verdicts()) {
      if (verdict.channel() != name || !decided(verdict.decision())) continue;
      verdict.set_decision(Decision::DECISION_UNDECIDED);
      verdict.set_guard_zone(steadyrail::proto::GUARD_ZONE_NONE);
      verdict.clear_probability_nonconforming();
      verdict.set_reason(finding.words);
    }
    for (auto& event : *result.mutable_events()) {
      if (event.channel() != name || !decided(event.decision())) continue;
      event.set_decision(Decision::DECISION_UNDECIDED);
      event.set_guard_zone(steadyrail::proto::GUARD_ZONE_NONE);
      event.clear_probability_nonconforming();
      event.set_note(event.note().empty() ? finding.words : event.note() + "; " + finding.words);
    }
  }
}

}  // namespace host::detect
