// SPDX-License-Identifier: Apache-2.0
#include "host/app/judging.h"

#include <algorithm>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "host/app/nearest.h"
#include "host/app/sha256.h"
#include "host/label/audit.h"
#include "host/label/label_text.h"
#include "host/label/rules.h"

namespace host::app {

namespace proto = steadyrail::proto;

namespace {

bool is_path(const std::string& name) {
  return name.find('/') != std::string::npos || name.ends_with(".textproto");
}

}  // namespace

std::expected<model::NamedText, std::string> load_text(std::string_view folder, std::string_view what,
                                                       const std::string& name) {
  const std::vector<std::string> shipped = model::shipped_descriptions(folder);
  if (!is_path(name) && std::ranges::find(shipped, name) == shipped.end()) {
    return std::unexpected(unknown_word(what, name, shipped));
  }
  auto text = model::named_text(folder, name);
  if (!text) return std::unexpected(model::to_string(text.error()));
  return std::move(*text);
}

std::expected<model::Jig, std::string> load_jig(const std::string& name) {
  const auto text = load_text("jigs", "jig", name);
  if (!text) return std::unexpected(text.error());
  auto jig = model::Jig::from_text(text->text, text->file);
  if (!jig) return std::unexpected(model::to_string(jig.error()));
  return std::move(*jig);
}

std::expected<steadyrail::proto::Unit, std::string> load_unit(const std::string& name) {
  const auto rules = label::Rules::shipped();
  if (!rules) return std::unexpected(model::to_string(rules.error()));
  const auto text = load_text("units", "unit", name);
  if (!text) return std::unexpected(text.error());
  auto unit = label::unit_from_text(text->text, text->file, *rules);
  if (!unit) return std::unexpected(model::to_string(unit.error()));
  return std::move(*unit);
}

std::expected<model::LimitEdition, std::string> load_edition(const std::string& name) {
  const std::vector<std::string> shipped = model::shipped_descriptions("limits");
  if (!is_path(name) && std::ranges::find(shipped, name) == shipped.end()) {
    return std::unexpected(unknown_word("edition", name, shipped));
  }
  auto edition = model::load_limits(name);
  if (!edition) return std::unexpected(model::to_string(edition.error()));
  return std::move(*edition);
}

std::expected<Judging, std::string> load_judging(const JudgeOptions& options,
                                                 const std::optional<steadyrail::proto::Unit>& recorded_unit,
                                                 const std::string& recorded_edition) {
  Judging judging;
  judging.unit = recorded_unit;
  if (!options.unit.empty()) {
    const auto unit = load_unit(options.unit);
    if (!unit) return std::unexpected(unit.error());
    judging.unit = *unit;
  }
  std::string edition = options.limits;
  if (edition.empty() && !options.unit.empty()) edition = judging.unit->edition();
  if (edition.empty()) edition = recorded_edition;
  if (edition.empty() && judging.unit) edition = judging.unit->edition();
  if (edition.empty()) return judging;
  auto limits = load_edition(edition);
  if (!limits) return std::unexpected(limits.error());
  judging.limits = std::move(*limits);
  return judging;
}

detect::ReviewOptions detectors(const Judging& judging) {
  detect::ReviewOptions out;
  out.unit = judging.unit;
  if (!judging.limits) return out;
  out.limits = judging.limits->set;
  out.limits_sha256 = sha256(judging.limits->text);
  return out;
}

std::vector<std::string> doubts(const Judging& judging, const proto::JigDescription& jig) {
  std::vector<std::string> out;
  const auto rules = label::Rules::shipped();
  if (judging.unit && rules &&
      label::audit(*judging.unit, *rules).verdict() == proto::LABEL_VERDICT_CONTRADICTS_ITSELF) {
    out.push_back(
        fmt::format("the label of {} contradicts itself ('steadyrail label' shows where): what it rates the "
                    "supply for is in doubt",
                    judging.unit->id()));
  }
  if (!judging.limits) return out;
  const auto sensed = [&jig](const std::string& connector) {
    return std::ranges::any_of(jig.channels(), [&](const auto& channel) { return channel.connector() == connector; });
  };
  for (const proto::RegulationLimit& limit : judging.limits->set.regulation()) {
    if (limit.connectors().empty() || std::ranges::any_of(limit.connectors(), sensed)) continue;
    out.push_back(fmt::format("{} limits {} at {} only, which this jig does not sense: nothing was judged by it",
                              judging.limits->set.edition(), limit.output(), fmt::join(limit.connectors(), ", ")));
  }
  return out;
}

}  // namespace host::app
