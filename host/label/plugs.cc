// SPDX-License-Identifier: Apache-2.0
#include "host/label/plugs.h"

#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "host/data/shipped.h"
#include "host/model/jig.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

constexpr std::string_view kFile = "label/plugs.textproto";

void check_class(const proto::PlugClass& one, const model::Place& place, model::TextErrors& errors) {
  if (one.title().empty()) errors.push_back(place.error("title", "a plug has no title"));
  if (one.families().empty()) errors.push_back(place.error("families", "a plug fits no socket"));
  if (one.circuits().empty()) errors.push_back(place.error("circuits", "a plug has no circuits"));
  for (int index = 0; index < one.circuits_size(); ++index) {
    const proto::PlugCircuits& circuits = one.circuits(index);
    if (model::rail_label(circuits.rail()).empty() || circuits.circuits() == 0) {
      errors.push_back(place.error("circuits", "circuits want a rail and a number", index));
    }
  }
  if (!(one.circuit_amps().value() > 0)) {
    errors.push_back(place.error("circuit_amps", "the rating of a plug's terminals is missing"));
  }
}

}  // namespace

std::expected<Plugs, model::TextErrors> Plugs::from_text(std::string_view text, std::string_view file) {
  proto::PlugClasses classes;
  google::protobuf::TextFormat::ParseInfoTree tree;
  if (auto parsed = model::parse_text(text, file, classes, &tree); !parsed) return std::unexpected(parsed.error());
  const model::Place place(file, *proto::PlugClasses::descriptor(), &tree);
  model::TextErrors errors;
  std::set<int> seen;
  for (int index = 0; index < classes.classes_size(); ++index) {
    const model::Place here = place.nested("classes", index);
    const proto::PlugClass& one = classes.classes(index);
    if (one.kind() == proto::PLUG_KIND_UNKNOWN || !seen.insert(one.kind()).second) {
      errors.push_back(here.error("kind", "the kind of a plug is missing or given twice"));
    }
    check_class(one, here, errors);
  }
  for (int kind = 1; kind < proto::PlugKind_ARRAYSIZE; ++kind) {
    if (seen.contains(kind)) continue;
    errors.push_back(
        place.error(fmt::format("{} is missing", proto::PlugKind_Name(static_cast<proto::PlugKind>(kind)))));
  }
  if (!errors.empty()) return std::unexpected(std::move(errors));
  std::ranges::sort(*classes.mutable_classes(), {}, &proto::PlugClass::kind);
  std::ranges::sort(*classes.mutable_card_excursions(), {}, &proto::CardExcursion::duration_s);
  return Plugs(std::move(classes));
}

std::expected<Plugs, model::TextErrors> Plugs::shipped() {
  return from_text(data::shipped(kFile).value_or(""), kFile);
}

std::uint32_t Plugs::circuits(proto::PlugKind kind, proto::Rail rail) const {
  const auto& all = of(kind).circuits();
  const auto found = std::ranges::find(all, rail, &proto::PlugCircuits::rail);
  return found == all.end() ? 0 : found->circuits();
}

double Plugs::card_percent(double duration_s) const {
  for (const proto::CardExcursion& row : classes_.card_excursions()) {
    if (duration_s <= row.duration_s() * (1 + 1e-9)) return row.percent();
  }
  return 100;
}

std::string_view family_of(std::string_view socket) {
  return socket.substr(0, socket.rfind('-'));
}

}  // namespace host::label
