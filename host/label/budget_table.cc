// SPDX-License-Identifier: Apache-2.0
#include "host/label/budget_table.h"

#include <functional>
#include <set>
#include <utility>

#include <fmt/format.h>

#include "host/label/load_answer.h"
#include "host/label/load_case.h"
#include "host/label/power.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

std::string place_words(proto::LinkKind kind) {
  switch (kind) {
    case proto::LINK_KIND_TOTAL:
      return "total";
    case proto::LINK_KIND_COMBINED:
      return "combined";
    case proto::LINK_KIND_RAIL:
      return "rail";
    case proto::LINK_KIND_SUB_RAIL:
      return "sub-rail";
    case proto::LINK_KIND_PLUG_WATTS:
    case proto::LINK_KIND_PLUG_AMPS:
      return "plug";
    case proto::LINK_KIND_CIRCUIT:
      return "circuit";
    default:
      return "unknown";
  }
}

std::string decision_words(proto::LinkDecision decision) {
  switch (decision) {
    case proto::LINK_DECISION_HOLDS:
      return "holds";
    case proto::LINK_DECISION_BREAKS:
      return "BREAKS";
    case proto::LINK_DECISION_DOUBTFUL:
      return "doubtful";
    default:
      return "unknown";
  }
}

std::string status_words(proto::LimitStatus status) {
  switch (status) {
    case proto::LIMIT_STATUS_READ:
      return "read";
    case proto::LIMIT_STATUS_SECONDARY:
      return "secondary";
    case proto::LIMIT_STATUS_FROM_MEMORY:
      return "from memory";
    default:
      return "unknown";
  }
}

std::string limit_from(const proto::LoadLink& link) {
  std::string text = link.document();
  if (!link.table().empty()) text += ", " + link.table();
  if (link.document() != "label" || link.status() != proto::LIMIT_STATUS_READ)
    text += ": " + status_words(link.status());
  return link.document() == "label" && !link.note().empty() ? text + "; " + link.note() : text;
}

std::string split_words(const proto::CableSplit& split) {
  if (!split.refusal().empty()) return fmt::format("  split of cables: {}\n", split.refusal());
  const std::string now = split.has_worst_margin_percent_now()
                              ? fmt::format("{:.0f} % left now", split.worst_margin_percent_now())
                              : "the cables do not all fit as named";
  if (split.moves().empty()) {
    return fmt::format("  split of cables: as it is, no other leaves the fullest sub-rail more ({}, {})\n",
                       split.worst_sub_rail_proposed(), now);
  }
  std::string text = fmt::format("  split of cables that leaves the fullest sub-rail most: {:.0f} % of {} left ({})\n",
                                 split.worst_margin_percent_proposed(), split.worst_sub_rail_proposed(), now);
  for (const proto::SplitMove& move : split.moves()) {
    text += fmt::format("    {}: to socket {}{}{}\n", move.plugs(), move.socket_proposed(),
                        move.sub_rail_proposed().empty() ? "" : " on " + move.sub_rail_proposed(),
                        move.socket_now().empty() ? "" : ", from " + move.socket_now());
  }
  return text;
}

}  // namespace

std::string sufficiency_words(proto::Sufficiency sufficiency) {
  switch (sufficiency) {
    case proto::SUFFICIENCY_ENOUGH:
      return "enough";
    case proto::SUFFICIENCY_NOT_ENOUGH:
      return "not enough";
    case proto::SUFFICIENCY_DOUBTFUL:
      return "doubtful";
    default:
      return "unknown";
  }
}

Table budgets_side_by_side(std::span<const proto::LoadBudget> budgets) {
  Table table;
  table.header = {""};
  for (const proto::LoadBudget& budget : budgets) table.header.push_back(budget.unit());
  const auto row = [&](std::string name, const std::function<std::string(const proto::LoadBudget&)>& cell) {
    std::vector<std::string> cells = {std::move(name)};
    for (const proto::LoadBudget& budget : budgets) cells.push_back(cell(budget));
    table.rows.push_back(std::move(cells));
  };
  row("for this PC", [](const auto& budget) { return sufficiency_words(budget.sufficiency()); });
  row("weakest link", [](const auto& budget) {
    return fmt::format("{}{}, {}", place_words(budget.weakest().kind()),
                       budget.weakest().kind() == proto::LINK_KIND_TOTAL ? "" : " " + budget.weakest().name(),
                       budget.weakest().has_duration_s() ? case_words(budget.weakest().duration_s()) : "steady");
  });
  row("left there", [](const auto& budget) { return fmt::format("{:.0f} %", budget.weakest().margin_percent()); });
  row("sockets lacking", [](const auto& budget) { return fmt::format("{}", budget.lacking_size()); });
  return table;
}

Table currents_table(const proto::LoadBudget& budget) {
  Table table{{"", "where", "steady", "greatest excursion"}, {}};
  for (const proto::LoadCurrent& row : budget.currents()) {
    std::string where = row.name();
    if (row.has_circuits()) where += fmt::format(", {} circuit{}", row.circuits(), row.circuits() == 1 ? "" : "s");
    table.rows.push_back({place_words(row.kind()), std::move(where), fmt::format("{:.2f} A", row.steady_a()),
                          row.has_excursion_s()
                              ? fmt::format("{:.2f} A for {}", row.excursion_a(), case_words(row.excursion_s()))
                              : "-"});
  }
  return table;
}

Table links_table(const proto::LoadBudget& budget) {
  Table table{{"link", "", "when", "asked", "allowed", "left", "", "where the limit stands"}, {}};
  std::set<std::pair<int, std::string>> told;
  for (const proto::LoadLink& link : budget.links()) {
    if (!told.emplace(link.kind(), link.name()).second) continue;
    std::string left = fmt::format("{:.0f} %", link.margin_percent());
    if (link.has_uneven_margin_percent()) left += fmt::format(" (uneven {:.0f} %)", link.uneven_margin_percent());
    table.rows.push_back({place_words(link.kind()), link.name(),
                          link.has_duration_s() ? case_words(link.duration_s()) : "steady",
                          fmt::format("{} {}", number(link.demand()), link.unit()),
                          fmt::format("{} {}", number(link.limit()), link.unit()), std::move(left),
                          decision_words(link.decision()), limit_from(link)});
  }
  return table;
}

std::string budget_notes(const proto::LoadBudget& budget) {
  std::string text = split_words(budget.split());
  for (const std::string& warning : budget.warnings()) text += fmt::format("  warning: {}\n", warning);
  for (const std::string& gap : budget.gaps()) text += fmt::format("  not known: {}\n", gap);
  return text;
}

}  // namespace host::label
