// SPDX-License-Identifier: Apache-2.0
#include "host/label/rules.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "host/data/shipped.h"
#include "host/label/power.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;
using model::Place;
using model::TextErrors;

constexpr std::string_view kRulesName = "label/rules.textproto";

bool has_threshold(proto::LabelCheck check) {
  switch (check) {
    case proto::LABEL_CHECK_NO_EFFICIENCY_MARK:
    case proto::LABEL_CHECK_TOTAL_IS_PEAK:
    case proto::LABEL_CHECK_COMBINED_MISSING:
    case proto::LABEL_CHECK_TWELVE_MISSING:
    case proto::LABEL_CHECK_EDITION_MISSING:
    case proto::LABEL_CHECK_DATE_MISSING:
    case proto::LABEL_CHECK_NEED_NOT_COVERED:
    case proto::LABEL_CHECK_SOCKET_TWICE:
    case proto::LABEL_CHECK_PEAK_BELOW_TOTAL:
    case proto::LABEL_CHECK_RAIL_MISSING:
      return false;
    default:
      return true;
  }
}

bool positive(double value) {
  return std::isfinite(value) && value > 0;
}

void check_rule(const proto::LabelRule& rule, const Place& place, TextErrors& errors) {
  if (rule.check() == proto::LABEL_CHECK_UNKNOWN) errors.push_back(place.error("check", "check is missing"));
  if (rule.number() == 0) errors.push_back(place.error("number", "number is missing: it is printed with each remark"));
  if (rule.weight() == proto::REMARK_WEIGHT_UNKNOWN) errors.push_back(place.error("weight", "weight is missing"));
  if (rule.words().empty()) errors.push_back(place.error("words", "words are missing"));
  if (rule.status().empty()) errors.push_back(place.error("status", "status is missing: where the rule comes from"));
  if (has_threshold(rule.check()) &&
      !(std::isfinite(rule.threshold()) && rule.has_threshold() && rule.threshold() >= 0)) {
    errors.push_back(place.error("threshold", "threshold must be a figure of 0 or more"));
  }
}

void check_rules(const proto::LabelRules& rules, const Place& place, TextErrors& errors) {
  std::set<std::uint32_t> numbers;
  std::set<int> checks;
  for (int index = 0; index < rules.rules_size(); ++index) {
    const proto::LabelRule& rule = rules.rules(index);
    const Place here = place.nested("rules", index);
    check_rule(rule, here, errors);
    if (rule.number() != 0 && !numbers.insert(rule.number()).second) {
      errors.push_back(here.error("number", fmt::format("number {} is used twice", rule.number())));
    }
    if (rule.check() != proto::LABEL_CHECK_UNKNOWN && !checks.insert(rule.check()).second) {
      errors.push_back(here.error("check", fmt::format("{} has two rules", proto::LabelCheck_Name(rule.check()))));
    }
  }
  for (int check = proto::LABEL_CHECK_UNKNOWN + 1; check < proto::LabelCheck_ARRAYSIZE; ++check) {
    if (proto::LabelCheck_IsValid(check) && !checks.contains(check)) {
      errors.push_back(
          place.error(fmt::format("no rule for {}", proto::LabelCheck_Name(static_cast<proto::LabelCheck>(check)))));
    }
  }
}

void check_distribution(const proto::TypicalDistribution& distribution, const Place& place, TextErrors& errors) {
  if (distribution.edition().empty()) errors.push_back(place.error("edition", "edition is missing"));
  if (distribution.document().empty()) errors.push_back(place.error("document", "document is missing"));
  if (!positive(distribution.total_w())) errors.push_back(place.error("total_w", "total_w must be above 0"));
  for (const proto::Rail rail : {proto::RAIL_P12V, proto::RAIL_P5V, proto::RAIL_P3V3}) {
    const auto found = std::ranges::find(distribution.rails(), rail, &proto::RailRating::rail);
    if (found == distribution.rails().end() || !positive(rail_amps(*found))) {
      errors.push_back(place.error("rails", fmt::format("amps of {} are missing", proto::Rail_Name(rail))));
    }
  }
}

}  // namespace

Rules::Rules(proto::LabelRules rules) : rules_(std::move(rules)) {
  for (const proto::LabelRule& rule : rules_.rules()) by_check_[rule.check()] = rule;
}

std::expected<Rules, TextErrors> Rules::from_text(std::string_view text, std::string_view file) {
  proto::LabelRules rules;
  google::protobuf::TextFormat::ParseInfoTree tree;
  if (auto parsed = model::parse_text(text, file, rules, &tree); !parsed) return std::unexpected(parsed.error());
  const Place place(file, *proto::LabelRules::descriptor(), &tree);
  TextErrors errors;
  check_rules(rules, place, errors);
  for (int index = 0; index < rules.distributions_size(); ++index) {
    check_distribution(rules.distributions(index), place.nested("distributions", index), errors);
  }
  for (int index = 0; index < rules.unprinted_at_most_size(); ++index) {
    if (!positive(rules.unprinted_at_most(index).amps())) {
      errors.push_back(place.nested("unprinted_at_most", index).error("amps", "amps must be above 0"));
    }
  }
  if (rules.socket_names().empty()) errors.push_back(place.error("socket_names", "socket_names are missing"));
  if (!errors.empty()) return std::unexpected(std::move(errors));
  return Rules(std::move(rules));
}

std::expected<Rules, TextErrors> Rules::shipped() {
  const auto text = data::shipped(kRulesName);
  if (!text) return std::unexpected(TextErrors{{std::string(kRulesName), 0, 0, "not compiled into this program"}});
  return from_text(*text, kRulesName);
}

std::vector<const proto::TypicalDistribution*> Rules::distributions(std::string_view edition) const {
  std::vector<const proto::TypicalDistribution*> found;
  for (const proto::TypicalDistribution& distribution : rules_.distributions()) {
    if (distribution.edition() == edition) found.push_back(&distribution);
  }
  return found;
}

double Rules::unprinted_w(proto::Rail rail) const {
  const auto found = std::ranges::find(rules_.unprinted_at_most(), rail, &proto::RailRating::rail);
  return found == rules_.unprinted_at_most().end() ? 0 : rail_volts(rail) * found->amps();
}

bool Rules::is_socket_name(std::string_view name) const {
  return std::ranges::any_of(rules_.socket_names(), [&](const std::string& word) {
    if (!name.starts_with(word)) return false;
    const std::string_view rest = name.substr(word.size());
    if (rest.empty()) return true;
    return rest.size() >= 2 && rest.size() <= 3 && rest[0] == '-' && rest[1] != '0' &&
           std::ranges::all_of(rest.substr(1), [](char c) { return c >= '0' && c <= '9'; });
  });
}

std::string Rules::unknown_socket(std::string_view name) const {
  return fmt::format("socket \"{}\" is unknown; names: {}, each alone or numbered as in processor-2", name,
                     fmt::join(rules_.socket_names(), ", "));
}

}  // namespace host::label
