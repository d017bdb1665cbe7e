// SPDX-License-Identifier: Apache-2.0
#include "host/label/table.h"

#include <fmt/format.h>

#include <algorithm>
#include <functional>

#include "host/label/power.h"
#include "host/model/jig.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;
using proto::LabelAudit;

constexpr std::string_view kNothing = "-";

using Cell = std::function<std::string(const LabelAudit&)>;

void add_row(Table& table, std::span<const LabelAudit> audits, std::string_view name, const Cell& cell) {
  std::vector<std::string> row = {std::string(name)};
  for (const LabelAudit& audit : audits) row.push_back(cell(audit));
  table.rows.push_back(std::move(row));
}

std::string basis_words(proto::TotalBasis basis) {
  if (basis == proto::TOTAL_BASIS_CONTINUOUS) return " continuous";
  return basis == proto::TOTAL_BASIS_PEAK ? " peak" : "";
}

std::string rail_cell(const LabelAudit& audit, proto::Rail rail) {
  const auto found = std::ranges::find(audit.rails(), rail, &proto::RailPower::rail);
  if (found == audit.rails().end()) return std::string(kNothing);
  if (found->sum_of_sub_rails()) return fmt::format("at most {} W", number(found->watts()));
  return fmt::format("{} A, {} W", number(found->amps()), number(found->watts()));
}

std::string weight_word(proto::RemarkWeight weight) {
  switch (weight) {
    case proto::REMARK_WEIGHT_NOTE:
      return "note";
    case proto::REMARK_WEIGHT_INDICATOR:
      return "indicator";
    case proto::REMARK_WEIGHT_ASK:
      return "ask";
    case proto::REMARK_WEIGHT_WARN:
      return "warn";
    case proto::REMARK_WEIGHT_CONTRADICTION:
      return "contradiction";
    default:
      return "unknown";
  }
}

void sub_rail_lines(const LabelAudit& audit, std::string& text) {
  if (audit.sub_rails().empty()) return;
  text += "  sub-rails under unbalanced load\n";
  for (const proto::SubRailHeadroom& sub_rail : audit.sub_rails()) {
    text += fmt::format("    {} {}: limit {} A", model::rail_label(sub_rail.rail()), sub_rail.name(),
                        number(sub_rail.amps()));
    if (!sub_rail.connectors().empty()) text += fmt::format(", feeds {}", fmt::join(sub_rail.connectors(), ", "));
    text += fmt::format("\n      others at zero: {} A usable, {} A of the rail out of reach\n",
                        number(sub_rail.alone_a()), number(sub_rail.out_of_reach_a()));
    text += fmt::format("      even share {} A: headroom {} A; others at their limits: {} A left\n",
                        number(sub_rail.even_share_a()), number(sub_rail.above_share_a()),
                        number(sub_rail.others_full_a()));
  }
}

void remark_lines(const LabelAudit& audit, std::string& text) {
  text += audit.remarks().empty() ? "  no remarks\n" : "  remarks\n";
  // The heaviest first; within a weight in the order they were found.
  for (int weight = proto::RemarkWeight_MAX; weight > proto::REMARK_WEIGHT_UNKNOWN; --weight) {
    for (const proto::LabelRemark& remark : audit.remarks()) {
      if (remark.weight() != weight) continue;
      text += fmt::format("    rule {}, {} ({}): {}\n", remark.rule(), weight_word(remark.weight()), remark.status(),
                          remark.words());
      if (!remark.arithmetic().empty()) text += fmt::format("      {}\n", remark.arithmetic());
    }
  }
}

}  // namespace

std::string verdict_words(proto::LabelVerdict verdict) {
  switch (verdict) {
    case proto::LABEL_VERDICT_PLAUSIBLE:
      return "plausible";
    case proto::LABEL_VERDICT_NEEDS_EXPLAINING:
      return "needs explaining";
    case proto::LABEL_VERDICT_CONTRADICTS_ITSELF:
      return "contradicts itself";
    default:
      return "unknown";
  }
}

Table side_by_side(std::span<const LabelAudit> audits) {
  Table table;
  table.header = {""};
  for (const LabelAudit& audit : audits) table.header.push_back(audit.unit());
  add_row(table, audits, "verdict", [](const LabelAudit& audit) { return verdict_words(audit.verdict()); });
  add_row(table, audits, "edition claimed",
          [](const LabelAudit& audit) { return audit.edition().empty() ? std::string(kNothing) : audit.edition(); });
  add_row(table, audits, "total", [](const LabelAudit& audit) {
    return fmt::format("{} W{}", number(audit.total_w()), basis_words(audit.total_basis()));
  });
  for (const proto::Rail rail : kRailOrder) {
    const auto cell = [rail](const LabelAudit& audit) { return rail_cell(audit, rail); };
    add_row(table, audits, model::rail_label(rail), cell);
    if (rail != proto::RAIL_P12V) continue;
    add_row(table, audits, "+12V share of total", [](const LabelAudit& audit) {
      return fmt::format("{}{:.1f} %", audit.share_12v_is_upper_bound() ? "at most " : "", audit.share_12v_percent());
    });
    add_row(table, audits, "+12V keeps, others full", [](const LabelAudit& audit) {
      return fmt::format("{:.1f} A, {} W", audit.left_12v_a(), number(audit.left_12v_w()));
    });
  }
  add_row(table, audits, "+5V and +3.3V share", [](const LabelAudit& audit) {
    return audit.has_minor_share_percent() ? fmt::format("{:.1f} %", audit.minor_share_percent())
                                           : std::string(kNothing);
  });
  add_row(table, audits, "all at full amps",
          [](const LabelAudit& audit) { return fmt::format("{} W", number(audit.sum_full_amps_w())); });
  add_row(table, audits, "all within limits",
          [](const LabelAudit& audit) { return fmt::format("{} W", number(audit.sum_within_combined_w())); });
  add_row(table, audits, "above the total",
          [](const LabelAudit& audit) { return fmt::format("{} W", number(audit.excess_over_total_w())); });
  return table;
}

std::string details(const LabelAudit& audit) {
  std::string text = fmt::format("{}: {}\n  arithmetic\n", audit.unit(), verdict_words(audit.verdict()));
  std::size_t width = 0;
  for (const proto::ArithmeticLine& line : audit.arithmetic()) width = std::max(width, line.subject().size());
  for (const proto::ArithmeticLine& line : audit.arithmetic()) {
    text += fmt::format("    {:<{}}  {}{}\n", line.subject(), width, line.contradicts() ? "CONTRADICTION " : "",
                        line.line());
  }
  sub_rail_lines(audit, text);
  remark_lines(audit, text);
  if (!audit.gaps().empty()) text += "  not known\n";
  for (const std::string& gap : audit.gaps()) text += fmt::format("    {}\n", gap);
  text += fmt::format("  {}\n", audit.caution());
  return text;
}

}  // namespace host::label
