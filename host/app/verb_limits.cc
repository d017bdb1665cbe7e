// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <cmath>
#include <expected>

#include <fmt/format.h>

#include "host/app/judging.h"
#include "host/app/limit_tables.h"
#include "host/app/verbs.h"
#include "host/model/named_text.h"
#include "host/report/json.h"
#include "host/report/summary.h"
#include "host/report/words.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr proto::Rail kRails[] = {proto::RAIL_P12V, proto::RAIL_P5V, proto::RAIL_P3V3, proto::RAIL_M12V,
                                  proto::RAIL_P5VSB};

std::string volts(std::int64_t microvolts) {
  return fmt::format("{:.3f}", static_cast<double>(microvolts) * 1e-6);
}

std::string joined(const auto& words) {
  std::string out;
  for (const std::string& word : words) out += (out.empty() ? "" : ", ") + word;
  return out;
}

/// Rows of an edition for a rail, each "least (where, status)": the wide lower limit of one edition must not hide
/// behind another's.
std::string least(const proto::LimitSet& set, proto::Rail rail) {
  std::string out;
  for (const proto::RegulationLimit& limit : set.regulation()) {
    if (limit.rail() != rail) continue;
    out += out.empty() ? "" : "; ";
    out += volts(limit.least_uv()) + " to " + volts(limit.most_uv());
    if (limit.connectors_size() > 0) out += " at " + joined(limit.connectors());
    if (limit.status() != proto::LIMIT_STATUS_READ) out += " (" + report::word(limit.status()) + ")";
  }
  return out.empty() ? "-" : out;
}

/// The row of an excursion table that holds for any length of time is the rating itself; JSON has no number for its
/// duration, so that it is left out.
std::expected<std::string, std::string> json_of(proto::LimitSet set) {
  const auto lasting = [](const proto::ExcursionRow& row) { return !std::isfinite(row.duration_s()); };
  auto& rows = *set.mutable_excursion();
  rows.erase(std::remove_if(rows.begin(), rows.end(), lasting), rows.end());
  return report::to_json(set);
}

int print_one(const LimitsOptions& options, Terminal& terminal) {
  const auto edition = load_edition(options.edition);
  if (!edition) return terminal.complain(edition.error());
  const proto::LimitSet& set = edition->set;
  if (options.json) {
    const auto json = json_of(set);
    if (!json) return terminal.complain(json.error());
    terminal.out() << *json;
    return 0;
  }
  terminal.out() << fmt::format("{}: {}\nDocument: {}\nApplies at: {}\n\n", set.edition(), set.title(), set.document(),
                                set.applies_at());
  std::vector<std::vector<std::string>> rows;
  for (const proto::RegulationLimit& limit : set.regulation()) {
    rows.push_back({limit.output(), joined(limit.connectors()), volts(limit.least_uv()) + " V",
                    volts(limit.most_uv()) + " V", report::word(limit.status()), limit.table(), limit.note()});
  }
  terminal.out() << report::text_table({"output", "connectors", "least", "most", "status", "table", "note"}, rows);
  terminal.out() << limit_tables(set);
  const proto::RequiredCoverage& required = set.required();
  terminal.out() << fmt::format("\nRequired: {:g} % of the scans, {:g} s of settled means, {} load steps each way.\n",
                                required.scans_share() * 100, required.settled_mean_s(), required.steps_each_way());
  return 0;
}

}  // namespace

int limits(const LimitsOptions& options, Terminal& terminal) {
  if (!options.edition.empty()) return print_one(options, terminal);
  std::vector<std::vector<std::string>> rows;
  std::string list;
  for (const std::string& name : model::shipped_descriptions("limits")) {
    const auto edition = load_edition(name);
    if (!edition) return terminal.complain(edition.error());
    if (options.json) {
      const auto json = json_of(edition->set);
      if (!json) return terminal.complain(json.error());
      list += (list.empty() ? "\n" : ",\n") + json->substr(0, json->size() - 1);
      continue;
    }
    rows.push_back({name});
    for (const proto::Rail rail : kRails) rows.back().push_back(least(edition->set, rail));
  }
  if (options.json) {
    terminal.out() << "{\"editions\": [" << list << "\n]}\n";
    return 0;
  }
  terminal.out() << "Editions of published limits, V; none is the default.\n\n"
                 << report::text_table({"edition", "+12V", "+5V", "+3.3V", "-12V", "+5VSB"}, rows)
                 << "\n'steadyrail limits EDITION' prints one with document, tables and notes.\n";
  return 0;
}

}  // namespace host::app
