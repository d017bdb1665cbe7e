// SPDX-License-Identifier: Apache-2.0
#include "host/app/verb_label.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <expected>
#include <filesystem>
#include <optional>

#include <fmt/format.h>
#include <CLI/CLI.hpp>

#include "host/app/judging.h"
#include "host/app/outputs.h"
#include "host/label/audit.h"
#include "host/label/bench_programme.h"
#include "host/label/budget_table.h"
#include "host/label/label_text.h"
#include "host/label/load_budget.h"
#include "host/label/system_text.h"
#include "host/label/table.h"
#include "host/model/limit_sets.h"
#include "host/model/named_text.h"
#include "host/report/json.h"
#include "host/report/summary.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr int kExitContradiction = 1;
constexpr int kExitNeedsExplaining = 4;
constexpr double kNeedAmpsMax = 1000;  // as for a rail: more is a slip

bool is_typed(const label::TypedLabel& typed) {
  return !(typed.total.empty() && typed.basis.empty() && typed.rails.empty() && typed.standby.empty() &&
           typed.combined.empty() && typed.inputs.empty() && typed.edition.empty() && typed.date.empty() &&
           typed.mark.empty() && typed.mass_kg.empty() && typed.wire_awg.empty() && typed.id.empty());
}

std::expected<label::Rules, std::string> load_rules(const std::string& path) {
  auto rules = [&]() -> std::expected<label::Rules, model::TextErrors> {
    if (path.empty()) return label::Rules::shipped();
    const auto text = model::read_file(path);
    if (!text) return std::unexpected(text.error());
    return label::Rules::from_text(*text, path);
  }();
  if (!rules) return std::unexpected(model::to_string(rules.error()));
  return std::move(*rules);
}

/// Every unit named, or the complaints about all that cannot be read.
std::expected<std::vector<proto::Unit>, std::string> load_units(const std::vector<std::string>& names,
                                                                const label::Rules& rules) {
  std::vector<proto::Unit> units;
  model::TextErrors errors;
  for (const std::string& name : names) {
    const auto text = model::named_text("units", name);
    if (!text) {
      errors.insert(errors.end(), text.error().begin(), text.error().end());
      continue;
    }
    auto unit = label::unit_from_text(text->text, text->file, rules);
    if (!unit) {
      errors.insert(errors.end(), unit.error().begin(), unit.error().end());
      continue;
    }
    if (unit->id().empty()) unit->set_id(std::filesystem::path(name).stem().string());
    units.push_back(std::move(*unit));
  }
  if (!errors.empty()) return std::unexpected(model::to_string(errors));
  return units;
}

std::expected<std::vector<proto::Unit>, std::string> typed_unit(const LabelOptions& options,
                                                                const label::Rules& rules) {
  label::TypedLabel typed = options.typed;
  if (typed.id.empty()) typed.id = options.save.empty() ? "typed" : std::filesystem::path(options.save).stem().string();
  auto unit = label::unit_from_typed(typed, rules);
  if (!unit) return std::unexpected(model::to_string(unit.error()));
  return std::vector<proto::Unit>{std::move(*unit)};
}

/// Amps the PC asks of +12 V; nothing when not given.
std::expected<std::optional<double>, std::string> need_of(const std::string& words) {
  if (words.empty()) return std::nullopt;
  double amps = 0;
  const char* end = words.data() + words.size();
  const auto [at, code] = std::from_chars(words.data(), end, amps);
  if (code != std::errc{} || at != end || !(amps > 0 && amps <= kNeedAmpsMax)) {
    return std::unexpected(
        fmt::format("--need-12v {}: amps above 0 and up to {}, with a decimal point", words, kNeedAmpsMax));
  }
  return amps;
}

/// The PC to feed; nothing where none is named.
std::expected<std::optional<proto::System>, std::string> load_system(const std::string& name, const label::Rules& rules,
                                                                     const label::Plugs& plugs) {
  if (name.empty()) return std::nullopt;
  const auto text = model::named_text("systems", name);
  if (!text) return std::unexpected(model::to_string(text.error()));
  auto system = label::system_from_text(text->text, text->file, rules, plugs);
  if (!system) return std::unexpected(model::to_string(system.error()));
  if (system->id().empty()) system->set_id(std::filesystem::path(name).stem().string());
  return std::move(*system);
}

/// The edition a unit claims; nothing where it is not known here.
std::optional<proto::LimitSet> edition_of(const proto::Unit& unit) {
  auto edition = model::load_limits(unit.edition());
  return edition ? std::optional(std::move(edition->set)) : std::nullopt;
}

/// Writes the load programme and says what it leaves out.
std::expected<void, std::string> write_programme(const LabelOptions& options, const proto::Unit& unit,
                                                 const proto::System* system, Terminal& terminal) {
  const auto jig = load_jig(options.jig);
  if (!jig) return std::unexpected(jig.error());
  const auto limits = edition_of(unit);
  const auto bench = label::bench_programme(*jig, unit, limits ? &*limits : nullptr, system);
  if (!bench) return std::unexpected(bench.error());
  if (const auto saved = label::save_new(label::programme_text(*bench), options.programme); !saved) return saved;
  terminal.print_caution();
  terminal.say(fmt::format("load programme: {}, {} phases", options.programme, bench->programme.phases_size()));
  for (const std::string& gap : bench->gaps) terminal.say("not exercised: " + gap);
  return {};
}

template <typename Message>
std::expected<std::string, std::string> json_list(const std::vector<Message>& messages) {
  std::string list;
  for (const Message& message : messages) {
    const auto json = report::to_json(message);
    if (!json) return std::unexpected(json.error());
    list += (list.empty() ? "\n" : ",\n") + json->substr(0, json->size() - 1);
  }
  return "[" + list + "\n]";
}

std::expected<std::string, std::string> in_json(const std::vector<proto::LabelAudit>& audits,
                                                const std::vector<proto::LoadBudget>& budgets) {
  const auto first = json_list(audits);
  if (!first) return first;
  const auto second = json_list(budgets);
  if (!second) return second;
  return "{\"audits\": " + *first + ",\n\"loadBudgets\": " + *second + "}\n";
}

std::string in_words(const std::vector<proto::LoadBudget>& budgets) {
  std::string text;
  for (const proto::LoadBudget& budget : budgets) text += budget.answer() + "\n";
  text += budgets.front().caution() + "\n";
  if (budgets.size() > 1) {
    const label::Table table = label::budgets_side_by_side(budgets);
    text += "\n" + report::text_table(table.header, table.rows);
  }
  for (const proto::LoadBudget& budget : budgets) {
    const label::Table links = label::links_table(budget);
    const label::Table currents = label::currents_table(budget);
    text += fmt::format("\n{}: {} for {}\n", budget.unit(), label::sufficiency_words(budget.sufficiency()),
                        budget.system());
    text += label::budget_notes(budget) + "\n" + report::text_table(links.header, links.rows) + "\n" +
            report::text_table(currents.header, currents.rows);
  }
  return text + "\n";
}

std::string in_words(const std::vector<proto::LabelAudit>& audits) {
  const label::Table table = label::side_by_side(audits);
  std::string text = audits.front().caution() + "\n\n" + report::text_table(table.header, table.rows);
  for (const proto::LabelAudit& audit : audits) text += "\n" + label::details(audit);
  return text;
}

int status_of(const std::vector<proto::LabelAudit>& audits, const std::vector<proto::LoadBudget>& budgets) {
  const auto any = [&](proto::LabelVerdict verdict, proto::Sufficiency sufficiency) {
    return std::ranges::find(audits, verdict, &proto::LabelAudit::verdict) != audits.end() ||
           std::ranges::find(budgets, sufficiency, &proto::LoadBudget::sufficiency) != budgets.end();
  };
  if (any(proto::LABEL_VERDICT_CONTRADICTS_ITSELF, proto::SUFFICIENCY_NOT_ENOUGH)) return kExitContradiction;
  return any(proto::LABEL_VERDICT_NEEDS_EXPLAINING, proto::SUFFICIENCY_DOUBTFUL) ? kExitNeedsExplaining : 0;
}

}  // namespace

void declare_label(CLI::App& verb, LabelOptions& options) {
  verb.add_option("unit", options.units, "Units to put side by side: shipped names or files")->type_name("UNIT|FILE");
  const auto word = [&](const std::string& name, std::string& into, const std::string& help, const std::string& type) {
    verb.add_option(name, into, help)->type_name(type);
  };
  const auto words = [&](const std::string& name, std::vector<std::string>& into, const std::string& help,
                         const std::string& type) {
    verb.add_option(name, into, help)->type_name(type)->allow_extra_args(false);
  };
  label::TypedLabel& typed = options.typed;
  word("--total", typed.total, "Without a file: the total printed", "W");
  words("--rail", typed.rails, "A rail's amps, once each: 12=23.5, 5=33, 3.3=31, -12=0.3, 5sb=2.3", "V=A");
  word("--standby", typed.standby, "Amps of +5VSB", "A");
  words("--combined", typed.combined, "A combined limit: 5+3.3=120", "V+V=W");
  words("--input", typed.inputs, "Input rating: 230=5 or 100-240=9", "V=A");
  word("--basis", typed.basis, "What the total is", "continuous|peak");
  word("--edition", typed.edition, "Edition the label claims", "EDITION");
  word("--date", typed.date, "Of manufacture: 2024-05 or 2024-W20", "DATE");
  word("--mark", typed.mark, "Efficiency mark", "present|absent|not-looked");
  word("--mass", typed.mass_kg, "Weighed with its cables", "KG");
  word("--wire", typed.wire_awg, "Thinnest wire that carries +12 V", "AWG");
  word("--id", typed.id, "Name of the unit; that of the saved file when left out", "NAME");
  word("--save", options.save, "Keep the typed label as a unit file; never over an existing one", "FILE");
  word("--need-12v", options.need_12v, "Amps the PC asks of +12 V, held against what it keeps", "A");
  word("--for", options.system, "The PC to feed: is the unit enough for it, and where does it break first",
       "SYSTEM|FILE");
  word("--programme", options.programme, "Write a load programme for the bench from one label; never over a file",
       "FILE");
  word("--jig", options.jig, "The jig whose load bank plays it: shipped or a file", "FILE");
  word("--rules", options.rules, "Rules of one's own in place of those that ship", "FILE");
  verb.add_flag("--json", options.json, "Print JSON");
}

int label(const LabelOptions& options, Terminal& terminal) {
  const bool typed = is_typed(options.typed);
  if (typed && !options.units.empty()) return terminal.complain("label: name units or type one, not both");
  if (!typed && options.units.empty()) {
    return terminal.complain("label: name a unit, or type what is printed: --total 570 --rail 12=23.5 ...");
  }
  if (!options.programme.empty() && options.units.size() > 1) {
    return terminal.complain("label: --programme is for one unit");
  }
  if (!typed && !options.save.empty()) return terminal.complain("label: --save is for a typed label");
  if (const auto checked = check_outputs({{"--save", options.save}, {"--programme", options.programme}}, {});
      !checked) {
    return terminal.complain(checked.error());
  }
  const auto need = need_of(options.need_12v);
  if (!need) return terminal.complain(need.error());
  const auto rules = load_rules(options.rules);
  if (!rules) return terminal.complain(rules.error());
  const auto units = typed ? typed_unit(options, *rules) : load_units(options.units, *rules);
  if (!units) return terminal.complain(units.error());
  const auto plugs = label::Plugs::shipped();
  if (!plugs) return terminal.complain(model::to_string(plugs.error()));
  const auto system = load_system(options.system, *rules, *plugs);
  if (!system) return terminal.complain(system.error());
  std::vector<proto::LoadBudget> budgets;
  for (const proto::Unit& unit : *units) {
    if (!*system) break;
    const auto limits = edition_of(unit);
    budgets.push_back(label::load_budget(unit, **system, *rules, *plugs, limits ? &*limits : nullptr));
  }
  if (!options.save.empty()) {
    if (const auto saved = label::save_unit(units->front(), options.save); !saved) {
      return terminal.complain(saved.error(), std::filesystem::exists(options.save) ? kExitWrongUse : kExitNotFinished);
    }
  }
  if (!options.programme.empty()) {
    const auto written = write_programme(options, units->front(), *system ? &**system : nullptr, terminal);
    if (!written) return terminal.complain(written.error());
  }
  std::vector<proto::LabelAudit> audits;
  for (const proto::Unit& unit : *units) audits.push_back(label::audit(unit, *rules, {.need_12v_a = *need}));
  if (options.json) {
    const auto json = in_json(audits, budgets);
    if (!json) return terminal.complain(json.error());
    terminal.out() << *json;
  } else {
    terminal.out() << (budgets.empty() ? "" : in_words(budgets)) << in_words(audits);
  }
  return status_of(audits, budgets);
}

}  // namespace host::app
