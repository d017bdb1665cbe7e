// SPDX-License-Identifier: Apache-2.0
#include "host/judge/specified_step.h"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>

namespace host::judge {
namespace {

using steadyrail::proto::LimitSet;
using steadyrail::proto::LimitStatus;
using steadyrail::proto::StepBasis;
using steadyrail::proto::TransientLimit;
using steadyrail::proto::Unit;
using steadyrail::proto::WithinStep;

constexpr double kSmallSupplyW = 450;  // up to here the first slew holds whatever the connectors

/// The rows that name the connector, else those that name none.
std::vector<const TransientLimit*> rows_for(const LimitSet& limits, const model::JigChannel& channel) {
  std::vector<const TransientLimit*> named;
  std::vector<const TransientLimit*> general;
  for (const TransientLimit& row : limits.transient()) {
    if (row.rail() != channel.rail) continue;
    if (row.connectors().empty()) {
      general.push_back(&row);
    } else if (std::ranges::find(row.connectors(), channel.connector) != row.connectors().end()) {
      named.push_back(&row);
    }
  }
  return named.empty() ? general : named;
}

/// What the label promises the output that feeds `channel`: its sub-rail, else its rail.
struct Rated {
  double amps = 0;   // 0: not printed
  std::string name;  // of the sub-rail; empty: the rail
};

Rated rated_at(const Unit* unit, const model::JigChannel& channel) {
  if (unit == nullptr) return {};
  for (const auto& rail : unit->rails()) {
    if (rail.rail() != channel.rail) continue;
    for (const auto& sub : rail.sub_rails()) {
      const bool feeds = std::ranges::find(sub.connectors(), channel.connector) != sub.connectors().end();
      if (feeds && sub.amps() > 0) return {sub.amps(), sub.name()};
    }
    return {rail.amps(), {}};
  }
  return {};
}

/// A; 0: the basis is not known here.
double amps_of(const TransientLimit& row, const Rated& rated) {
  switch (row.basis()) {
    case StepBasis::STEP_BASIS_AMPERES:
      return row.step_a();
    case StepBasis::STEP_BASIS_RATED_CURRENT:
      return rated.amps * row.step_percent() / 100;
    default:
      return 0;
  }
}

/// A/s; nothing: not published, or only remembered, which must not take a verdict away.
std::optional<double> slew_of(const TransientLimit& row, const Unit* unit) {
  if (!row.has_slew_a_per_us() || row.slew_status() == LimitStatus::LIMIT_STATUS_FROM_MEMORY) return std::nullopt;
  // Which of the two holds above 450 W depends on a connector the description does not name: the faster one.
  const bool large = row.has_slew_large_a_per_us() && unit != nullptr && unit->total_w() > kSmallSupplyW;
  return 1e6 * (large ? row.slew_large_a_per_us() : row.slew_a_per_us());
}

std::string not_known(const TransientLimit& row) {
  if (row.status() == LimitStatus::LIMIT_STATUS_FROM_MEMORY) return "known from memory only";
  switch (row.basis()) {
    case StepBasis::STEP_BASIS_PROCESSOR_CURRENT:
      return "a share of the processor's current, which is not known here";
    case StepBasis::STEP_BASIS_CARD_CURRENT:
      return "a share of what the add-in card draws for good, which is not known here";
    default:
      return "a share of the output's rated current, which the unit's description does not give";
  }
}

}  // namespace

SpecifiedSteps::SpecifiedSteps(const model::Jig& jig, const Unit* unit, const LimitSet* limits) {
  if (limits == nullptr) return;
  std::map<std::pair<const TransientLimit*, std::string>, std::uint32_t> groups;
  std::map<std::string, std::string> unknown;  // why, and at which channels
  bool any_slew = false;
  for (const auto& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_CURRENT || !channel.calibrated) continue;
    const auto rows = rows_for(*limits, channel);
    if (rows.empty()) continue;
    const Rated rated = rated_at(unit, channel);
    std::optional<Output> output = Output{};
    for (const TransientLimit* row : rows) {
      const double amps = row->status() == LimitStatus::LIMIT_STATUS_FROM_MEMORY ? 0 : amps_of(*row, rated);
      if (!(amps > 0) || !std::isfinite(amps)) {
        // One row that cannot be worked out may allow more than all the others.
        output.reset();
        std::string& names = unknown[not_known(*row)];
        names += (names.empty() ? "" : ", ") + channel.name;
        break;
      }
      output->step_a = std::max(output->step_a, amps);
      const auto slew = slew_of(*row, unit);
      if (slew) output->slew_a_per_s = std::max(output->slew_a_per_s.value_or(0), *slew);
    }
    if (output) output->group = groups.try_emplace({rows.front(), rated.name}, groups.size()).first->second;
    any_slew = any_slew || (output && output->slew_a_per_s);
    outputs_[channel.index] = output;
  }
  for (const auto& [why, names] : unknown) {
    remarks_.push_back(fmt::format(
        "{}: the load step this edition specifies is {}; whether the session's steps lay within it is not known", names,
        why));
  }
  if (any_slew) {
    remarks_.push_back(
        "\"within step\" speaks of a load step's size: edges as fast as the edition allows are too fast to be timed "
        "here");
  }
}

WithinStep SpecifiedSteps::judge(std::size_t current, double step_a, double u_a) const {
  const auto& output = outputs_[current];
  if (!output) return WithinStep::WITHIN_STEP_UNKNOWN;
  if (std::abs(step_a) - u_a > output->step_a) return WithinStep::WITHIN_STEP_NO;
  if (std::abs(step_a) + u_a <= output->step_a) return WithinStep::WITHIN_STEP_YES;
  return WithinStep::WITHIN_STEP_UNKNOWN;
}

WithinStep SpecifiedSteps::judge_slew(std::size_t current, double slew_a_per_s, bool at_least) const {
  const auto& output = outputs_[current];
  if (!output || !output->slew_a_per_s) return WithinStep::WITHIN_STEP_UNKNOWN;
  if (slew_a_per_s > *output->slew_a_per_s) return WithinStep::WITHIN_STEP_NO;
  return at_least ? WithinStep::WITHIN_STEP_UNKNOWN : WithinStep::WITHIN_STEP_YES;
}

}  // namespace host::judge
