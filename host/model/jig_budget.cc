// SPDX-License-Identifier: Apache-2.0
#include "host/model/jig_budget.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <set>
#include <string>

#include <fmt/format.h>

namespace host::model {
namespace {

namespace proto = steadyrail::proto;

// Uncertainties are written with three digits: the last one rounded is up to 0.5 %.
constexpr double kRoundingShare = 0.006;
// A list in brackets has one place, that of its first entry; the complaint names the channel.
constexpr int kListStart = 0;

/// Of the contributors of one part, or of all of them.
double combined(const proto::ChannelBudget& budget, std::optional<proto::BudgetPart> part) {
  double variance = 0;
  for (const proto::Contributor& contributor : budget.contributors()) {
    if (part && contributor.part() != *part) continue;
    variance += std::pow(standard_uncertainty(contributor), 2);
  }
  return std::sqrt(variance);
}

void check_contributor(const proto::Contributor& contributor, const Place& at, TextErrors& errors) {
  const std::string& name = contributor.name();
  if (name.empty()) errors.push_back(at.error("name", "a contributor has no name"));
  if (contributor.evaluation() == proto::EVALUATION_UNKNOWN) {
    errors.push_back(at.error("evaluation", fmt::format("contributor {} is of neither type A nor B", name)));
  }
  if (contributor.distribution() == proto::DISTRIBUTION_UNKNOWN) {
    errors.push_back(at.error("distribution", fmt::format("contributor {} names no distribution", name)));
  }
  const std::pair<std::string_view, double> widths[] = {{"width", contributor.width()}, {"dof", contributor.dof()}};
  for (const auto& [field, value] : widths) {
    if (std::isfinite(value) && value >= 0) continue;
    errors.push_back(at.error(field, fmt::format("{} of contributor {} must be 0 or more", field, name)));
  }
  // A sensitivity left out would silently take the contributor from the sum.
  if (!std::isfinite(contributor.sensitivity()) || contributor.sensitivity() == 0) {
    errors.push_back(at.error("sensitivity", fmt::format("sensitivity of contributor {} is 0 or missing", name)));
  }
}

void check_against_calibration(const proto::ChannelBudget& budget, const proto::ChannelCalibration& entry,
                               const Place& at, TextErrors& errors) {
  struct Claim {
    std::string_view field;
    double claimed;
    std::optional<proto::BudgetPart> part;
  };
  const Claim claims[] = {{"u_other", entry.u_other(), std::nullopt},
                          {"u_converter", entry.u_converter(), proto::BUDGET_PART_CONVERTER},
                          {"u_temperature", entry.u_temperature(), proto::BUDGET_PART_TEMPERATURE},
                          {"u_age", entry.u_age(), proto::BUDGET_PART_AGE}};
  for (const Claim& claim : claims) {
    if (claim.part && claim.claimed == 0) continue;  // not told apart
    const double found = combined(budget, claim.part);
    if (std::abs(found - claim.claimed) <= kRoundingShare * claim.claimed) continue;
    errors.push_back(at.error("channels",
                              fmt::format("contributors of channel {} combine to {:.4g}, but its {} is {:.4g}",
                                          entry.channel(), found, claim.field, claim.claimed),
                              kListStart));
  }
}

void check_channels(const proto::JigDescription& description, const proto::ChannelBudget& budget, const Place& at,
                    std::set<std::string>& seen, TextErrors& errors) {
  for (const std::string& name : budget.channels()) {
    const auto there = [&name](const proto::Channel& channel) { return channel.name() == name; };
    if (std::ranges::none_of(description.channels(), there)) {
      errors.push_back(at.error("channels", fmt::format("budget of {}, which is not there", name), kListStart));
    }
    if (!seen.insert(name).second) {
      errors.push_back(at.error("channels", fmt::format("channel {} has two budgets", name), kListStart));
    }
    for (const proto::ChannelCalibration& entry : description.calibration().channels()) {
      if (entry.channel() == name) check_against_calibration(budget, entry, at, errors);
    }
  }
}

}  // namespace

double standard_uncertainty(const proto::Contributor& contributor) {
  const double width = contributor.width() * std::abs(contributor.sensitivity());
  switch (contributor.distribution()) {
    case proto::DISTRIBUTION_NORMAL:
      return width;
    case proto::DISTRIBUTION_RECTANGULAR:
      return width / std::numbers::sqrt3;
    case proto::DISTRIBUTION_TRIANGULAR:
      return width / (std::numbers::sqrt2 * std::numbers::sqrt3);
    case proto::DISTRIBUTION_ARCSINE:
      return width / std::numbers::sqrt2;
    default:
      return 0;
  }
}

const proto::ChannelBudget* budget_of(const proto::JigDescription& description, std::string_view channel) {
  for (const proto::ChannelBudget& budget : description.budgets()) {
    if (std::ranges::find(budget.channels(), channel) != budget.channels().end()) return &budget;
  }
  return nullptr;
}

proto::JigDescription for_recording(proto::JigDescription description) {
  description.clear_budgets();
  return description;
}

TextErrors budget_contradictions(const proto::JigDescription& description, const Place& place) {
  TextErrors errors;
  std::set<std::string> seen;
  for (int i = 0; i < description.budgets_size(); ++i) {
    const proto::ChannelBudget& budget = description.budgets(i);
    const Place at = place.nested("budgets", i);
    const std::size_t complaints = errors.size();
    if (budget.channels().empty()) errors.push_back(at.error("a budget names no channel"));
    if (!std::isfinite(budget.at())) errors.push_back(at.error("at", "a budget is for a value that is no number"));
    std::set<std::string> names;
    for (int k = 0; k < budget.contributors_size(); ++k) {
      const proto::Contributor& contributor = budget.contributors(k);
      const Place contributor_at = at.nested("contributors", k);
      check_contributor(contributor, contributor_at, errors);
      if (!names.insert(contributor.name()).second) {
        errors.push_back(
            contributor_at.error("name", fmt::format("contributor {} is listed twice", contributor.name())));
      }
    }
    // A sum over a broken list would only complain about the same slip again.
    if (errors.size() == complaints) check_channels(description, budget, at, seen, errors);
  }
  return errors;
}

}  // namespace host::model
