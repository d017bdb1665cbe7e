// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "budget.pb.h"
#include "host/app/judging.h"
#include "host/app/verbs.h"
#include "host/judge/error_budget.h"
#include "host/report/json.h"
#include "host/report/summary.h"
#include "host/report/words.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr int kDoubt = 4;
constexpr double kMeanSeconds = 10e-3;
// Widths of the common editions ('steadyrail limits'): 10 % on -12 V, 5 % on the others; 1 % is what steps are asked
// in.
constexpr double kTolerance = 0.05;
constexpr double kToleranceM12 = 0.10;
constexpr double kTightTolerance = 0.01;
constexpr double kRatioLeast = 4;  // common practice, no source

std::array<double, 2> tolerances(proto::Rail rail) {
  return {rail == proto::RAIL_M12V ? kToleranceM12 : kTolerance, kTightTolerance};
}

proto::JigBudget budget_of(const model::Jig& jig, const std::string& only) {
  proto::JigBudget out;
  const proto::JigDescription& description = jig.description();
  out.set_jig(description.id());
  out.set_build(description.build());
  out.set_calibration_id(description.calibration().id());
  if (description.calibration().channels().empty()) {
    out.set_refusal("uncalibrated: refused for verdicts, whatever its parts promise");
  }
  for (const model::JigChannel& channel : jig.channels()) {
    if (!only.empty() && channel.name != only) continue;
    if (channel.kind == proto::CHANNEL_KIND_AUXILIARY) continue;  // decides nothing, calibrated or not
    *out.add_channels() =
        judge::error_budget(jig, channel, std::round(kMeanSeconds * jig.scan_rate_hz()), tolerances(channel.rail));
  }
  return out;
}

/// In thousandths of its unit.
std::string milli(double value) {
  return fmt::format("{:.3f}", value * 1e3);
}

std::string ratio(const proto::UncertaintyRatio& one) {
  return fmt::format("{:.{}f}:1 for {:g} %", one.ratio(), one.ratio() < 20 ? 1 : 0, 100 * one.tolerance_share());
}

std::string ratios(const proto::ErrorBudget& budget) {
  std::string out;
  for (const proto::UncertaintyRatio& one : budget.ratios()) out += (out.empty() ? "" : ", ") + ratio(one);
  return out.empty() ? "-" : out;
}

std::string dominant(const proto::ErrorBudget& budget) {
  if (budget.terms().empty()) return "nothing is known";
  return fmt::format("{}, {:.0f} %", budget.terms(0).name(), 100 * budget.terms(0).share());
}

std::string evaluation(proto::Evaluation type) {
  return type == proto::EVALUATION_A ? "A" : "B";
}

/// Everything about one channel but its name: what channels of one make share.
std::string body(const proto::ErrorBudget& budget) {
  std::vector<std::vector<std::string>> rows;
  for (const proto::BudgetTerm& term : budget.terms()) {
    rows.push_back({term.name(), evaluation(term.evaluation()), report::word(term.distribution()),
                    fmt::format("{:.4g} {}", term.width(), term.unit()), fmt::format("{:.4g}", term.sensitivity()),
                    milli(term.standard()), fmt::format("{:.1f} %", 100 * term.share())});
  }
  const std::string unit = "m" + budget.unit();
  std::string out = report::text_table(
      {"contributor", "type", "distribution", "width", budget.unit() + " for one", "u, " + unit, "share"}, rows);
  const std::string dof =
      budget.has_effective_dof() ? fmt::format("{:.0f}", std::floor(budget.effective_dof())) : std::string("large");
  out += fmt::format(
      "  At {:.4g} {}, mean of {:g} scans: u = {} {}, effective degrees of freedom {}, k = {:.2f}, U = {} {}; "
      "single scan: U = {} {}.\n",
      budget.value(), budget.unit(), budget.samples(), milli(budget.standard()), unit, dof, budget.k(),
      milli(budget.expanded()), unit, milli(budget.single_scan_expanded()), unit);
  if (!budget.ratios().empty()) out += fmt::format("  Tolerance over U: {}.\n", ratios(budget));
  out += fmt::format("  Dominant: {}.\n", dominant(budget));
  std::vector<std::string> changes;
  for (const proto::BudgetChange& change : budget.to_halve()) {
    changes.push_back(fmt::format("{} from {} to {} {}", change.term(), milli(change.standard()),
                                  milli(change.standard_most()), unit));
  }
  if (!changes.empty()) out += fmt::format("  To halve U: {}.\n", fmt::join(changes, "; "));
  if (!budget.calibrated()) out += "  Uncalibrated: refused for verdicts.\n";
  return out;
}

std::string heading(const proto::JigBudget& jig) {
  return fmt::format("Jig {}, build {}, {}.\n", jig.jig(), jig.build(),
                     jig.refusal().empty() ? "calibration " + jig.calibration_id() : jig.refusal());
}

void print_in_full(const proto::JigBudget& jig, Terminal& terminal) {
  terminal.out() << heading(jig);
  std::vector<std::pair<std::string, std::string>> shown;  // names, body
  for (const proto::ErrorBudget& budget : jig.channels()) {
    const std::string text = body(budget);
    const auto same = std::ranges::find(shown, text, &std::pair<std::string, std::string>::second);
    if (same == shown.end()) {
      shown.emplace_back(budget.channel(), text);
    } else {
      same->first += ", " + budget.channel();
    }
  }
  for (const auto& [names, text] : shown) terminal.out() << "\n" << names << "\n" << text;
}

void print_side_by_side(const std::vector<proto::JigBudget>& jigs, Terminal& terminal) {
  std::vector<std::vector<std::string>> rows;
  for (const proto::JigBudget& jig : jigs) {
    terminal.out() << heading(jig);
    for (const proto::ErrorBudget& budget : jig.channels()) {
      if (budget.ratios().empty()) continue;
      rows.push_back({budget.output(), budget.channel(), jig.build() + " (" + jig.jig() + ")",
                      milli(budget.expanded()) + " mV", ratios(budget), dominant(budget),
                      budget.calibrated() ? "" : "refused for verdicts"});
    }
  }
  std::ranges::stable_sort(rows, {}, [](const auto& row) { return std::pair(row[0], row[1]); });
  terminal.out() << "\n"
                 << report::text_table({"rail", "channel", "build", "U", "tolerance over U", "dominant", ""}, rows);
}

bool doubtful(const proto::ErrorBudget& budget) {
  return !budget.calibrated() || (!budget.ratios().empty() && budget.ratios(0).ratio() < kRatioLeast);
}

}  // namespace

int budget(const BudgetOptions& options, Terminal& terminal) {
  std::vector<proto::JigBudget> jigs;
  for (const std::string& name : options.jigs) {
    const auto jig = load_jig(name);
    if (!jig) return terminal.complain(jig.error());
    if (!options.channel.empty() && jig->find(options.channel) == nullptr) {
      return terminal.complain(fmt::format("jig {} has no channel {}", jig->description().id(), options.channel));
    }
    jigs.push_back(budget_of(*jig, options.channel));
  }
  if (options.json) {
    std::string list;
    for (const proto::JigBudget& jig : jigs) {
      const auto json = report::to_json(jig);
      if (!json) return terminal.complain(json.error());
      list += (list.empty() ? "\n" : ",\n") + json->substr(0, json->size() - 1);
    }
    terminal.out() << "{\"jigs\": [" << list << "\n]}\n";
  } else if (jigs.size() == 1) {
    print_in_full(jigs.front(), terminal);
  } else {
    print_side_by_side(jigs, terminal);
  }
  const bool open = std::ranges::any_of(
      jigs, [](const proto::JigBudget& jig) { return std::ranges::any_of(jig.channels(), doubtful); });
  return open ? kDoubt : 0;
}

}  // namespace host::app
