// SPDX-License-Identifier: Apache-2.0
#include "host/judge/error_budget.h"

#include <algorithm>
#include <cmath>
#include <string_view>
#include <vector>

#include "host/judge/uncertainty.h"
#include "host/model/jig_budget.h"

namespace host::judge {
namespace {

namespace proto = steadyrail::proto;

constexpr double kCodeMost = 32767;

double value_of(const model::JigChannel& channel, const proto::ChannelBudget* listed) {
  if (listed != nullptr) return listed->at();
  if (channel.kind == proto::CHANNEL_KIND_RAIL_VOLTAGE) return model::rail_nominal_v(channel.rail);
  return channel.value(kCodeMost);
}

proto::BudgetTerm term_of(std::string_view name, proto::Evaluation evaluation, Component component,
                          std::string_view unit) {
  proto::BudgetTerm term;
  term.set_name(std::string(name));
  term.set_evaluation(evaluation);
  term.set_distribution(proto::DISTRIBUTION_NORMAL);
  term.set_width(component.u);
  term.set_unit(std::string(unit));
  term.set_sensitivity(1);
  if (component.dof > 0) term.set_dof(component.dof);
  term.set_standard(component.u);
  return term;
}

proto::BudgetTerm term_of(const proto::Contributor& contributor) {
  proto::BudgetTerm term;
  term.set_name(contributor.name());
  term.set_evaluation(contributor.evaluation());
  term.set_distribution(contributor.distribution());
  term.set_width(contributor.width());
  term.set_unit(contributor.unit());
  term.set_sensitivity(contributor.sensitivity());
  if (contributor.dof() > 0) term.set_dof(contributor.dof());
  term.set_standard(model::standard_uncertainty(contributor));
  return term;
}

std::vector<proto::BudgetTerm> terms_of(const model::JigChannel& channel, const proto::ChannelBudget* listed,
                                        const Budget& parts, std::string_view unit) {
  std::vector<proto::BudgetTerm> terms;
  const auto add = [&](std::string_view name, proto::Evaluation evaluation, Component component) {
    if (component.u > 0) terms.push_back(term_of(name, evaluation, component, unit));
  };
  if (channel.calibrated) add("fit of the calibration", proto::EVALUATION_A, parts.calibration);
  add("noise", proto::EVALUATION_A, parts.noise);
  if (listed != nullptr) {
    for (const proto::Contributor& contributor : listed->contributors()) terms.push_back(term_of(contributor));
  } else {
    add("converter", proto::EVALUATION_B, parts.converter);
    add("temperature", proto::EVALUATION_B, parts.temperature);
    add("age", proto::EVALUATION_B, parts.age);
    add("all else, not told apart", proto::EVALUATION_B, parts.other);
  }
  std::ranges::stable_sort(terms, std::ranges::greater{}, &proto::BudgetTerm::standard);
  return terms;
}

std::vector<Component> components_of(std::span<const proto::BudgetTerm> terms) {
  std::vector<Component> components;
  for (const proto::BudgetTerm& term : terms) components.push_back({term.standard(), term.has_dof() ? term.dof() : 0});
  return components;
}

double student_k(std::span<const Component> components) {
  const double dof = effective_dof(components);
  return dof > 0 ? student_factor(kCoverage, dof) : 2;
}

/// The fewest terms, greatest first, that can halve the sum, and what each may then be at most.
void add_changes(std::span<const proto::BudgetTerm> terms, double standard, proto::ErrorBudget& budget) {
  const double target = standard * standard / 4;
  double rest = standard * standard;
  std::size_t count = 0;
  while (count < terms.size() && rest >= target) rest -= std::pow(terms[count++].standard(), 2);
  for (std::size_t i = 0; i < count; ++i) {
    proto::BudgetChange& change = *budget.add_to_halve();
    change.set_term(terms[i].name());
    change.set_standard(terms[i].standard());
    change.set_standard_most(std::sqrt(std::max(0.0, target - rest) / static_cast<double>(count)));
  }
}

}  // namespace

proto::ErrorBudget error_budget(const model::Jig& jig, const model::JigChannel& channel, double samples,
                                std::span<const double> tolerances) {
  const proto::ChannelBudget* listed = model::budget_of(jig.description(), channel.name);
  proto::ErrorBudget out;
  out.set_channel(channel.name);
  out.set_output(channel.rail_label);
  out.set_connector(channel.connector);
  out.set_unit(channel.kind == proto::CHANNEL_KIND_CURRENT ? "A" : "V");
  out.set_calibrated(channel.calibrated);
  out.set_value(value_of(channel, listed));
  out.set_samples(samples);
  const auto terms = terms_of(channel, listed, budget(channel, out.value(), samples), out.unit());
  const auto components = components_of(terms);
  const double standard = combined(components);
  out.set_standard(standard);
  if (const double dof = effective_dof(components); dof > 0) out.set_effective_dof(dof);
  out.set_k(student_k(components));
  out.set_expanded(out.k() * standard);
  const auto single = components_of(terms_of(channel, listed, budget(channel, out.value(), 1), out.unit()));
  out.set_single_scan_expanded(student_k(single) * combined(single));
  for (const proto::BudgetTerm& term : terms) {
    proto::BudgetTerm& added = *out.add_terms();
    added = term;
    added.set_share(standard > 0 ? std::pow(term.standard() / standard, 2) : 0);
  }
  if (channel.kind == proto::CHANNEL_KIND_RAIL_VOLTAGE && standard > 0) {
    for (const double share : tolerances) {
      proto::UncertaintyRatio& ratio = *out.add_ratios();
      ratio.set_tolerance_share(share);
      ratio.set_ratio(share * std::abs(model::rail_nominal_v(channel.rail)) / out.expanded());
    }
  }
  add_changes(terms, standard, out);
  return out;
}

}  // namespace host::judge
