// SPDX-License-Identifier: Apache-2.0
#include "host/label/load_bank.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>

namespace host::label {
namespace {

namespace proto = steadyrail::proto;
using Failure = std::unexpected<std::string>;

constexpr double kRepetitionHzMost = 10'000;

// A printed figure is a decimal one: what a double adds to it or takes from it is no reason to round.
constexpr double kOfAThousandth = 1e-6;
std::uint32_t thousandths_up(double value) {
  return static_cast<std::uint32_t>(std::ceil(value * 1000 - kOfAThousandth));
}
std::uint32_t thousandths_down(double value) {
  return static_cast<std::uint32_t>(std::floor(value * 1000 + kOfAThousandth));
}

/// Of the whole rail: as printed, else its sub-rails together.
std::optional<double> rated_amps(const proto::Unit& unit, proto::Rail rail) {
  for (const proto::RailRating& rating : unit.rails()) {
    if (rating.rail() != rail) continue;
    if (rating.has_amps()) return rating.amps();
    double sum = 0;
    for (const proto::SubRail& sub : rating.sub_rails()) sum += sub.amps();
    if (sum > 0) return sum;
  }
  return std::nullopt;
}

/// Share of its own limit that every output of a combined limit may take, so that together they stay within it.
void hold_combined(const proto::CombinedLimit& limit, std::map<proto::Rail, double>& amps_max) {
  if (!limit.has_watts()) return;
  double watts = 0;
  for (const int rail : limit.rails()) {
    const auto found = amps_max.find(static_cast<proto::Rail>(rail));
    if (found != amps_max.end()) watts += found->second * std::abs(model::rail_nominal_v(found->first));
  }
  if (watts <= limit.watts()) return;
  for (const int rail : limit.rails()) {
    const auto found = amps_max.find(static_cast<proto::Rail>(rail));
    if (found != amps_max.end()) found->second *= limit.watts() / watts;
  }
}

// The description's checks have seen to it that there is such a channel, and that its codes rise with the current.
void add_channel(const model::Jig& jig, const std::string& name, double amps, proto::LoadBranch& branch) {
  const model::JigChannel* channel = jig.find(name);
  if (channel == nullptr) return;  // none named
  branch.set_channel(static_cast<std::uint32_t>(channel->index));
  branch.set_idle_code(static_cast<std::int32_t>(std::lround(channel->code(0))));
  branch.set_level_codes(static_cast<std::uint32_t>(std::lround(amps / channel->per_code)));
}

/// Rails with branches, and what the label allows of each.
std::expected<std::map<proto::Rail, double>, std::string> rail_limits(const proto::LoadBank& bank,
                                                                      const proto::Unit& unit) {
  std::map<proto::Rail, double> amps_max;
  for (const proto::LoadBankBranch& branch : bank.branches()) {
    const std::string_view rail = model::rail_label(branch.rail());
    const auto amps = rated_amps(unit, branch.rail());
    if (!amps) return Failure(fmt::format("the label of {} prints no current for {}", unit.id(), rail));
    amps_max[branch.rail()] = *amps;
  }
  for (const proto::CombinedLimit& limit : unit.combined()) hold_combined(limit, amps_max);
  return amps_max;
}

}  // namespace

std::expected<proto::DescribeLoadBank, std::string> load_bank_limits(const model::Jig& jig, const proto::Unit& unit) {
  const proto::LoadBank& bank = jig.description().load_bank();
  if (bank.branches().empty())
    return Failure(fmt::format("the description of {} has no load bank", jig.description().id()));
  const auto amps_max = rail_limits(bank, unit);
  if (!amps_max) return Failure(amps_max.error());
  proto::DescribeLoadBank command;
  std::map<proto::Rail, std::uint32_t> groups;
  for (const auto& [rail, amps] : *amps_max) {
    groups[rail] = static_cast<std::uint32_t>(groups.size());
    command.add_group_current_ma_max(thousandths_down(amps));
  }
  for (const proto::LoadBankBranch& from : bank.branches()) {
    proto::LoadBranch& branch = *command.add_branches();
    branch.set_gate(from.gate());
    branch.set_current_ma(thousandths_up(from.amps()));
    branch.set_power_mw(thousandths_up(from.amps() * std::abs(model::rail_nominal_v(from.rail()))));
    branch.set_group(groups.at(from.rail()));
    branch.set_on_time_ms_max(thousandths_down(from.on_time_s_max()));
    add_channel(jig, from.current_channel(), from.amps(), branch);
  }
  const double power_w = unit.has_total_w() ? std::min(bank.power_w_max(), unit.total_w()) : bank.power_w_max();
  command.set_power_mw_max(thousandths_down(power_w));
  command.set_energy_j_max(static_cast<std::uint32_t>(bank.energy_j_max()));
  command.set_repetition_hz_max(static_cast<std::uint32_t>(std::min(bank.repetition_hz_max(), kRepetitionHzMost)));
  if (command.power_mw_max() == 0 || command.energy_j_max() == 0 || command.repetition_hz_max() == 0) {
    return Failure("bank and label together leave no power, energy or repetition");
  }
  return command;
}

}  // namespace host::label
