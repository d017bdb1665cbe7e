// SPDX-License-Identifier: Apache-2.0
#include "host/label/load_answer.h"

#include <cmath>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "host/label/load_case.h"
#include "host/label/power.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

constexpr double kWholePercentFrom = 9.95;  // below it a tenth is printed

std::string what(const proto::LoadLink& link) {
  switch (link.kind()) {
    case proto::LINK_KIND_TOTAL:
      return "the total of its label";
    case proto::LINK_KIND_COMBINED:
      return fmt::format("the combined limit of {}", link.name());
    case proto::LINK_KIND_RAIL:
      return fmt::format("{} as a whole", link.name());
    case proto::LINK_KIND_SUB_RAIL:
      return fmt::format("sub-rail {}", link.name());
    case proto::LINK_KIND_PLUG_WATTS:
    case proto::LINK_KIND_PLUG_AMPS:
      return fmt::format("the class of plug {}", link.name());
    case proto::LINK_KIND_CIRCUIT:
      return fmt::format("each circuit {}", link.name());
    default:
      return link.name();
  }
}

std::vector<std::string> doubts(const proto::Unit& unit, proto::LabelVerdict verdict, const proto::LoadBudget& budget) {
  std::vector<std::string> out;
  if (verdict == proto::LABEL_VERDICT_CONTRADICTS_ITSELF) out.emplace_back("its label contradicts itself");
  if (unit.total_basis() == proto::TOTAL_BASIS_PEAK) out.emplace_back("its total is a peak, with no continuous figure");
  if (!budget.links().empty() && budget.links(0).decision() == proto::LINK_DECISION_DOUBTFUL) {
    out.push_back(link_words(budget.links(0)));
  }
  for (const std::string& gap : budget.gaps()) {
    if (!gap.starts_with("nothing is said")) out.push_back(gap);
  }
  return out;
}

}  // namespace

std::string link_words(const proto::LoadLink& link) {
  const bool past = link.margin_percent() < 0;
  std::string text =
      fmt::format("{}, {}: {} {} asked, {} {} allowed, {:.{}f} % {}", what(link),
                  link.has_duration_s() ? "for " + case_words(link.duration_s()) : "steady", number(link.demand()),
                  link.unit(), number(link.limit()), link.unit(), std::abs(link.margin_percent()),
                  std::abs(link.margin_percent()) < kWholePercentFrom ? 1 : 0, past ? "too much" : "left");
  if (!past && link.has_uneven_margin_percent() && link.uneven_margin_percent() < 0) {
    text += ", none with terminals that share unevenly";
  }
  if (link.status() == proto::LIMIT_STATUS_FROM_MEMORY) text += " (limit from memory)";
  if (link.status() == proto::LIMIT_STATUS_SECONDARY) text += " (limit from a text that restates it)";
  return text;
}

void answer(const proto::Unit& unit, proto::LabelVerdict verdict, proto::LoadBudget& out) {
  const bool breaks = !out.links().empty() && out.links(0).decision() == proto::LINK_DECISION_BREAKS;
  const std::vector<std::string> open = doubts(unit, verdict, out);
  std::string text;
  if (breaks || !out.lacking().empty()) {
    out.set_sufficiency(proto::SUFFICIENCY_NOT_ENOUGH);
    text = fmt::format("{} is not enough for {}.", unit.id(), out.system());
    if (!out.lacking().empty()) text += fmt::format(" It has no socket {}.", fmt::join(out.lacking(), ", "));
    if (breaks) text += fmt::format(" It breaks first at {}.", link_words(out.links(0)));
  } else if (!open.empty()) {
    out.set_sufficiency(proto::SUFFICIENCY_DOUBTFUL);
    text = fmt::format("Whether {} is enough for {} is not certain: {}.", unit.id(), out.system(), open.front());
  } else {
    out.set_sufficiency(proto::SUFFICIENCY_ENOUGH);
    text = fmt::format("{} is enough for {}, by its label.", unit.id(), out.system());
  }
  const bool told = breaks || (out.sufficiency() == proto::SUFFICIENCY_DOUBTFUL && !out.links().empty() &&
                               open.front() == link_words(out.links(0)));
  if (!told && !out.links().empty()) text += fmt::format(" It would break first at {}.", link_words(out.links(0)));
  out.set_answer(std::move(text));
}

}  // namespace host::label
