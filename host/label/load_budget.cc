// SPDX-License-Identifier: Apache-2.0
#include "host/label/load_budget.h"

#include <algorithm>
#include <cmath>
#include <set>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "host/label/audit.h"
#include "host/label/cable_split.h"
#include "host/label/load_answer.h"
#include "host/label/load_case.h"
#include "host/model/jig.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

constexpr std::string_view kCaution =
    "a label is a claim, and what a PC draws is what its description says: nothing here is measured";
constexpr std::string_view kOpposite =
    "processor and graphics plugs share a pitch with opposite polarity (+12 V on pins 1 to 3 of a graphics plug, the "
    "returns on a processor's): read the words on every plug, never force one";
constexpr double kOddTerminal = 3;  // times the others' resistance; common practice, no source

class Budget {
 public:
  Budget(const proto::Unit& unit, const proto::System& system, const Plugs& plugs, std::vector<LoadCase> cases,
         bool known, proto::LoadBudget& out)
      : unit_(unit), system_(system), plugs_(plugs), cases_(std::move(cases)), known_(known), out_(out) {}

  void work_out() {
    for (const LoadCase& one : cases_) {
      label_links(one);
      for (const PlugLoad& plug : one.plugs) plug_links(one, plug);
      cable_links(one);
    }
    currents();
    lacking();
    remarks();
  }

 private:
  proto::LoadLink& link(proto::LinkKind kind, std::string name, const LoadCase& one, double demand, double limit,
                        std::string_view unit) {
    proto::LoadLink& added = *out_.add_links();
    added.set_kind(kind);
    added.set_name(std::move(name));
    if (!one.steady()) added.set_duration_s(one.duration_s);
    added.set_demand(demand);
    added.set_limit(limit);
    added.set_unit(std::string(unit));
    added.set_margin_percent(100 * (1 - demand / limit));
    return added;
  }

  /// Against a printed figure, raised by what the edition allows in an excursion.
  void against_label(proto::LinkKind kind, std::string name, const LoadCase& one, double demand, double printed,
                     std::string_view unit, bool excursions) {
    if (!(demand > 0) || !(printed > 0)) return;
    const double allowed = excursions ? one.allowed : 1;
    proto::LoadLink& added = link(kind, std::move(name), one, demand, printed * allowed, unit);
    added.set_document("label");
    added.set_status(allowed > 1 ? one.allowed_status : proto::LIMIT_STATUS_READ);
    if (allowed > 1) {
      added.set_note(fmt::format("label {} {}, {:.0f} % allowed for {}", number(printed), unit, 100 * allowed,
                                 case_words(one.duration_s)));
    }
    const bool brief = one.duration_s < kThermalS;
    if (demand <= printed * allowed) {
      added.set_decision(proto::LINK_DECISION_HOLDS);
    } else if (brief && (!one.table || added.status() == proto::LIMIT_STATUS_FROM_MEMORY)) {
      added.set_decision(proto::LINK_DECISION_DOUBTFUL);
      if (!one.table) added.set_note("no edition known says how far a load may exceed the label for so short a time");
    } else {
      added.set_decision(proto::LINK_DECISION_BREAKS);
    }
  }

  /// Against a published value of a plug: one from memory never fails alone.
  static void decide(proto::LoadLink& added, const proto::PlugValue& from, bool remembered) {
    added.set_document(from.document());
    added.set_table(from.table());
    added.set_source(from.source());
    added.set_note(from.note());
    added.set_status(remembered ? proto::LIMIT_STATUS_FROM_MEMORY : from.status());
    if (added.margin_percent() >= 0) {
      const bool uneven = added.has_uneven_margin_percent() && added.uneven_margin_percent() < 0;
      added.set_decision(uneven ? proto::LINK_DECISION_DOUBTFUL : proto::LINK_DECISION_HOLDS);
      return;
    }
    added.set_decision(added.status() == proto::LIMIT_STATUS_FROM_MEMORY ? proto::LINK_DECISION_DOUBTFUL
                                                                         : proto::LINK_DECISION_BREAKS);
  }

  void label_links(const LoadCase& one) {
    double total = 0;
    for (const double watts : one.watts) total += watts;
    against_label(proto::LINK_KIND_TOTAL, "total", one, total, unit_.total_w(), "W", true);
    for (const proto::CombinedLimit& limit : unit_.combined()) {
      double watts = 0;
      std::string name;
      bool twelve = false;
      for (const int rail : limit.rails()) {
        watts += one.watts[rail];
        twelve = twelve || rail == proto::RAIL_P12V;
        name += (name.empty() ? "" : " and ") + std::string(model::rail_label(static_cast<proto::Rail>(rail)));
      }
      against_label(proto::LINK_KIND_COMBINED, name, one, watts, limit.watts(), "W", twelve);
    }
    for (const proto::RailRating& rating : unit_.rails()) {
      const bool twelve = rating.rail() == proto::RAIL_P12V;
      const std::string label(model::rail_label(rating.rail()));
      against_label(proto::LINK_KIND_RAIL, label, one, one.amps[rating.rail()], rail_amps(rating), "A", twelve);
      for (const proto::SubRail& sub : rating.sub_rails()) {
        against_label(proto::LINK_KIND_SUB_RAIL, sub.name(), one, sub_rail_amps(one, rating.rail(), sub), sub.amps(),
                      "A", twelve);
      }
    }
  }

  static double sub_rail_amps(const LoadCase& one, proto::Rail rail, const proto::SubRail& sub) {
    double amps = 0;
    for (const PlugLoad& plug : one.plugs) {
      if (std::ranges::find(sub.connectors(), plug.socket) != sub.connectors().end()) amps += plug.amps[rail];
    }
    return amps;
  }

  static std::string name_of(const PlugLoad& plug) {
    return plug.plug == plug.socket ? plug.plug : fmt::format("{} on {}", plug.plug, plug.socket);
  }

  /// Wires in parallel: the plug's, or fewer where the unit's cable has fewer.
  std::uint32_t circuits(proto::PlugKind kind, const std::string& socket, proto::Rail rail) const {
    std::uint32_t count = plugs_.circuits(kind, rail);
    for (const proto::Cable& cable : unit_.cables()) {
      if (cable.connector() == socket && cable.rail() == rail && cable.circuits() > 0) {
        count = std::min(count, cable.circuits());
      }
    }
    return count;
  }

  void circuit_link(const LoadCase& one, std::string name, proto::PlugKind kind, const std::string& socket,
                    proto::Rail rail, double amps) {
    const std::uint32_t count = circuits(kind, socket, rail);
    if (count == 0 || !(amps > 0) || one.duration_s < kThermalS) return;
    const proto::PlugValue& rating = plugs_.of(kind).circuit_amps();
    const double share = amps / count;
    proto::LoadLink& added = link(proto::LINK_KIND_CIRCUIT, std::move(name), one, share, rating.value(), "A");
    if (count > 1) added.set_uneven_margin_percent(100 * (1 - share * uneven_factor(count) / rating.value()));
    decide(added, rating, false);
  }

  void plug_links(const LoadCase& one, const PlugLoad& plug) {
    const proto::PlugClass& kind = plugs_.of(plug.kind);
    const double twelve = plug.amps[proto::RAIL_P12V];
    if (kind.watts().has_value() && twelve > 0) {
      const double share = one.steady() ? 1 : plugs_.card_percent(one.duration_s) / 100;
      proto::LoadLink& added = link(proto::LINK_KIND_PLUG_WATTS, name_of(plug), one,
                                    twelve * rail_volts(proto::RAIL_P12V), kind.watts().value() * share, "W");
      decide(added, kind.watts(), share > 1 && plugs_.card_percent_from().status() == proto::LIMIT_STATUS_FROM_MEMORY);
    }
    if (kind.amps_rms().has_value() && twelve > 0 && one.duration_s >= kThermalS) {
      decide(link(proto::LINK_KIND_PLUG_AMPS, name_of(plug), one, twelve, kind.amps_rms().value(), "A"),
             kind.amps_rms(), false);
    }
    for (const proto::Rail rail : kRailOrder) {
      const std::string label(model::rail_label(rail));
      circuit_link(one, fmt::format("{} of {}", label, name_of(plug)), plug.kind, plug.socket, rail, plug.amps[rail]);
    }
  }

  /// Two plugs on one cable: its wires carry both.
  void cable_links(const LoadCase& one) {
    for (const proto::SystemCable& cable : system_.cables()) {
      if (cable.plugs_size() < 2) continue;
      for (const proto::Rail rail : kRailOrder) {
        double amps = 0;
        for (const PlugLoad& plug : one.plugs) amps += plug.socket == cable.socket() ? plug.amps[rail] : 0;
        circuit_link(one, fmt::format("{} of the cable from {}", model::rail_label(rail), cable.socket()),
                     cable.plugs(0).kind(), cable.socket(), rail, amps);
      }
    }
  }

  template <typename AmpsOf>
  void current(proto::LinkKind kind, std::string name, AmpsOf amps_of, std::uint32_t circuits = 0) {
    proto::LoadCurrent row;
    row.set_kind(kind);
    row.set_name(std::move(name));
    row.set_steady_a(amps_of(cases_.front()));
    row.set_excursion_a(row.steady_a());
    constexpr double kSame = 1e-12;  // shares that add up differently are no excursion
    for (const LoadCase& one : cases_) {
      const double amps = amps_of(one);
      // Ascending: the longest of the greatest excursions is told.
      if (amps <= row.steady_a() * (1 + kSame) || amps < row.excursion_a() * (1 - kSame)) continue;
      row.set_excursion_a(amps);
      row.set_excursion_s(one.duration_s);
    }
    if (circuits > 0) row.set_circuits(circuits);
    if (row.excursion_a() > 0) *out_.add_currents() = std::move(row);
  }

  void currents() {
    for (const proto::Rail rail : kRailOrder) {
      current(proto::LINK_KIND_RAIL, std::string(model::rail_label(rail)),
              [rail](const LoadCase& one) { return one.amps[rail]; });
    }
    for (const proto::RailRating& rating : unit_.rails()) {
      for (const proto::SubRail& sub : rating.sub_rails()) {
        current(proto::LINK_KIND_SUB_RAIL, sub.name(),
                [&](const LoadCase& one) { return sub_rail_amps(one, rating.rail(), sub); });
      }
    }
    for (std::size_t index = 0; index < cases_.front().plugs.size(); ++index) {
      const PlugLoad& plug = cases_.front().plugs[index];
      for (const proto::Rail rail : kRailOrder) {
        const std::uint32_t count = circuits(plug.kind, plug.socket, rail);
        const std::string name = fmt::format("{} of {}", model::rail_label(rail), name_of(plug));
        const auto amps = [index, rail](const LoadCase& one) { return one.plugs[index].amps[rail]; };
        current(proto::LINK_KIND_PLUG_AMPS, name, amps, count);
        if (count == 0) continue;
        current(proto::LINK_KIND_CIRCUIT, name, [&](const LoadCase& one) { return amps(one) / count; });
      }
    }
  }

  void lacking() {
    if (unit_.sockets().empty()) {
      out_.add_gaps("the unit's description names no sockets: whether the PC's plugs are there is not known");
      return;
    }
    for (const proto::SystemCable& cable : system_.cables()) {
      if (std::ranges::find(unit_.sockets(), cable.socket()) == unit_.sockets().end()) out_.add_lacking(cable.socket());
    }
  }

  void remarks() {
    bool processor = false;
    bool graphics = false;
    for (const PlugLoad& plug : cases_.front().plugs) {
      processor = processor || plugs_.of(plug.kind).families(0) == "processor";
      graphics = graphics || plugs_.of(plug.kind).families(0) == "graphics";
      if (std::ranges::all_of(plug.amps, [](double amps) { return amps == 0; })) {
        out_.add_gaps(fmt::format("nothing is said to draw by plug {}", plug.plug));
      }
    }
    if (processor && graphics) out_.add_warnings(std::string(kOpposite));
    for (const proto::Rail rail : kRailOrder) {
      if (cases_.front().amps[rail] > 0 && find_rail(unit_, rail) == nullptr) {
        out_.add_gaps(fmt::format("the label prints no figure for {}, of which the PC asks {} A",
                                  model::rail_label(rail), number(cases_.front().amps[rail])));
      }
    }
    sub_rail_gaps();
    if (std::ranges::none_of(cases_, [](const LoadCase& one) { return !one.table; })) return;
    const std::string edition = unit_.edition().empty() ? "the unit claims no edition"
                                : known_ ? fmt::format("edition {} has no table of excursions", unit_.edition())
                                         : fmt::format("edition {} is not known here", unit_.edition());
    out_.add_gaps(edition + ": how far a load may exceed the label for a moment is not known");
  }

  void sub_rail_gaps() {
    for (const proto::RailRating& rating : unit_.rails()) {
      if (rating.sub_rails().empty()) continue;
      std::set<std::string> mapped;
      for (const proto::SubRail& sub : rating.sub_rails()) {
        mapped.insert(sub.connectors().begin(), sub.connectors().end());
      }
      std::set<std::string> told;
      for (const PlugLoad& plug : cases_.front().plugs) {
        if (!(plug.amps[rating.rail()] > 0) || mapped.contains(plug.socket) || !told.insert(plug.socket).second)
          continue;
        out_.add_gaps(
            fmt::format("which sub-rail of {} feeds {} is not printed", model::rail_label(rating.rail()), plug.socket));
      }
    }
  }

  const proto::Unit& unit_;
  const proto::System& system_;
  const Plugs& plugs_;
  std::vector<LoadCase> cases_;
  bool known_;  // the edition
  proto::LoadBudget& out_;
};

}  // namespace

double uneven_factor(std::uint32_t count) {
  return count < 2 ? 1 : count / (count - 1 + 1 / kOddTerminal);
}

proto::LoadBudget load_budget(const proto::Unit& unit, const proto::System& system, const Rules& rules,
                              const Plugs& plugs, const proto::LimitSet* limits) {
  proto::LoadBudget out;
  out.set_unit(unit.id());
  out.set_system(system.id());
  out.set_edition(unit.edition());
  out.set_caution(std::string(kCaution));
  Budget(unit, system, plugs, load_cases(unit, system, limits), limits != nullptr, out).work_out();
  // What breaks stands before what may, that before what holds; then the least margin first.
  const auto weight = [](const proto::LoadLink& link) {
    return link.decision() == proto::LINK_DECISION_BREAKS     ? 0
           : link.decision() == proto::LINK_DECISION_DOUBTFUL ? 1
                                                              : 2;
  };
  std::ranges::stable_sort(*out.mutable_links(), {},
                           [&](const proto::LoadLink& link) { return std::pair(weight(link), link.margin_percent()); });
  if (!out.links().empty()) *out.mutable_weakest() = out.links(0);
  *out.mutable_split() = split_cables(unit, system, limits);
  answer(unit, audit(unit, rules).verdict(), out);
  return out;
}

}  // namespace host::label
