// SPDX-License-Identifier: Apache-2.0
#include "host/label/typed_label.h"

#include <fmt/format.h>

#include <cerrno>
#include <charconv>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <optional>
#include <string_view>
#include <utility>

#include "host/label/label_text.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;
using model::TextErrors;

constexpr std::string_view kTyped = "command line";

class Typist {
 public:
  TextErrors take() { return std::move(errors_); }

  /// A figure, or a complaint about `words` and nothing.
  std::optional<double> figure(std::string_view option, std::string_view words, std::string_view text) {
    double value = 0;
    const auto [end, code] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (code == std::errc{} && end == text.data() + text.size() && std::isfinite(value)) return value;
    const bool comma = text.find(',') != text.npos;
    complain(option, words, fmt::format("\"{}\" is not a figure{}", text, comma ? "; write a point: 23.5" : ""));
    return std::nullopt;
  }

  proto::Rail rail(std::string_view option, std::string_view words, std::string_view text) {
    static constexpr std::pair<std::string_view, proto::Rail> kRails[] = {
        {"12", proto::RAIL_P12V},  {"5", proto::RAIL_P5V},     {"3.3", proto::RAIL_P3V3},
        {"-12", proto::RAIL_M12V}, {"5sb", proto::RAIL_P5VSB},
    };
    for (const auto& [name, rail] : kRails) {
      if (text == name) return rail;
    }
    complain(option, words, fmt::format("\"{}\" is no rail: 12, 5, 3.3, -12 or 5sb", text));
    return proto::RAIL_UNKNOWN;
  }

  /// The two sides of "a=b", or a complaint.
  std::optional<std::pair<std::string_view, std::string_view>> sides(std::string_view option, std::string_view words,
                                                                     std::string_view form) {
    const auto at = words.find('=');
    if (at != words.npos) return std::pair{words.substr(0, at), words.substr(at + 1)};
    complain(option, words, fmt::format("write {}", form));
    return std::nullopt;
  }

  void complain(std::string_view option, std::string_view words, std::string message) {
    errors_.push_back({fmt::format("{} {}", option, words), 0, 0, std::move(message)});
  }

 private:
  TextErrors errors_;
};

void add_rails(const TypedLabel& typed, Typist& typist, proto::Unit& unit) {
  for (const std::string& words : typed.rails) {
    const auto sides = typist.sides("--rail", words, "volts=amps, as in 12=23.5");
    if (!sides) continue;
    proto::RailRating& rating = *unit.add_rails();
    rating.set_rail(typist.rail("--rail", words, sides->first));
    if (const auto amps = typist.figure("--rail", words, sides->second)) rating.set_amps(*amps);
  }
  if (typed.standby.empty()) return;
  proto::RailRating& rating = *unit.add_rails();
  rating.set_rail(proto::RAIL_P5VSB);
  if (const auto amps = typist.figure("--standby", typed.standby, typed.standby)) rating.set_amps(*amps);
}

void add_combined(const TypedLabel& typed, Typist& typist, proto::Unit& unit) {
  for (const std::string& words : typed.combined) {
    const auto sides = typist.sides("--combined", words, "rails=watts, as in 5+3.3=120");
    if (!sides) continue;
    proto::CombinedLimit& limit = *unit.add_combined();
    std::string_view rails = sides->first;
    while (true) {
      const auto plus = rails.find('+');
      limit.add_rails(typist.rail("--combined", words, rails.substr(0, plus)));
      if (plus == rails.npos) break;
      rails.remove_prefix(plus + 1);
    }
    if (const auto watts = typist.figure("--combined", words, sides->second)) limit.set_watts(*watts);
  }
}

void add_inputs(const TypedLabel& typed, Typist& typist, proto::Unit& unit) {
  for (const std::string& words : typed.inputs) {
    const auto sides = typist.sides("--input", words, "volts=amps, as in 230=5 or 100-240=9");
    if (!sides) continue;
    proto::InputRating& input = *unit.add_inputs();
    const auto dash = sides->first.find('-', 1);
    if (const auto low = typist.figure("--input", words, sides->first.substr(0, dash))) input.set_volts_min(*low);
    if (dash != sides->first.npos) {
      if (const auto high = typist.figure("--input", words, sides->first.substr(dash + 1))) input.set_volts_max(*high);
    }
    if (const auto amps = typist.figure("--input", words, sides->second)) input.set_amps(*amps);
  }
}

void add_rest(const TypedLabel& typed, Typist& typist, proto::Unit& unit) {
  unit.set_id(typed.id);
  unit.set_edition(typed.edition);
  unit.set_date(typed.date);
  if (!typed.total.empty()) {
    if (const auto watts = typist.figure("--total", typed.total, typed.total)) unit.set_total_w(*watts);
  }
  if (typed.basis == "continuous") {
    unit.set_total_basis(proto::TOTAL_BASIS_CONTINUOUS);
  } else if (typed.basis == "peak") {
    unit.set_total_basis(proto::TOTAL_BASIS_PEAK);
  } else if (!typed.basis.empty()) {
    typist.complain("--basis", typed.basis, "continuous or peak");
  }
  if (typed.mark == "present") {
    unit.set_efficiency_mark(proto::EFFICIENCY_MARK_PRESENT);
  } else if (typed.mark == "absent") {
    unit.set_efficiency_mark(proto::EFFICIENCY_MARK_ABSENT);
  } else if (typed.mark == "not-looked") {
    unit.set_efficiency_mark(proto::EFFICIENCY_MARK_NOT_LOOKED);
  } else if (!typed.mark.empty()) {
    typist.complain("--mark", typed.mark, "present, absent or not-looked");
  }
  if (!typed.mass_kg.empty()) {
    if (const auto mass = typist.figure("--mass", typed.mass_kg, typed.mass_kg)) unit.set_mass_kg(*mass);
  }
  if (typed.wire_awg.empty()) return;
  const auto gauge = typist.figure("--wire", typed.wire_awg, typed.wire_awg);
  if (!gauge) return;
  if (*gauge < 1 || *gauge > 40 || *gauge != std::floor(*gauge)) {
    typist.complain("--wire", typed.wire_awg, "a whole AWG number from 1 to 40");
  } else {
    unit.set_wire_awg(static_cast<std::uint32_t>(*gauge));
  }
}

}  // namespace

std::expected<proto::Unit, TextErrors> unit_from_typed(const TypedLabel& typed, const Rules& rules) {
  proto::Unit unit;
  Typist typist;
  add_rails(typed, typist, unit);
  add_combined(typed, typist, unit);
  add_inputs(typed, typist, unit);
  add_rest(typed, typist, unit);
  if (TextErrors errors = typist.take(); !errors.empty()) return std::unexpected(std::move(errors));
  TextErrors errors = check_unit(unit, model::Place(kTyped, *proto::Unit::descriptor(), nullptr), rules);
  if (!errors.empty()) return std::unexpected(std::move(errors));
  return unit;
}

std::expected<void, std::string> save_new(const std::string& text, const std::string& path) {
  std::FILE* file = std::fopen(path.c_str(), "wbx");  // x: an existing file stays as it is
  if (file == nullptr) return std::unexpected(fmt::format("{}: {}", path, std::strerror(errno)));
  const bool written = std::fwrite(text.data(), 1, text.size(), file) == text.size() && std::fflush(file) == 0;
  const int cause = errno;
  const bool closed = std::fclose(file) == 0;
  if (written && closed) return {};
  std::remove(path.c_str());
  return std::unexpected(fmt::format("{}: {}", path, std::strerror(written ? errno : cause)));
}

std::expected<void, std::string> save_unit(const proto::Unit& unit, const std::string& path) {
  std::string text;
  if (!google::protobuf::TextFormat::PrintToString(unit, &text))
    return std::unexpected(path + ": cannot be written as text");
  return save_new(
      "# What is printed on the unit: a claim, not a measurement.\n"
      "# proto-file: proto/unit.proto\n# proto-message: steadyrail.proto.Unit\n" +
          text,
      path);
}

}  // namespace host::label
