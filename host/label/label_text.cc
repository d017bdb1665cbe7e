// SPDX-License-Identifier: Apache-2.0
#include "host/label/label_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "host/label/date.h"
#include "host/label/decimal_comma.h"
#include "host/label/power.h"
#include "host/label/printable.h"
#include "host/model/jig.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;
using model::Place;
using model::TextErrors;

// What a figure on a label may be. Far wider than any supply that goes into a PC: beyond it a point was lost, a unit
// mistaken or a key slipped. Common practice, no source.
struct Range {
  std::string_view unit;
  double low;
  double high;
};
constexpr Range kTotal{"W", 10, 10000};
constexpr Range kAmps{"A", 0.01, 1000};
constexpr Range kInputVolts{"V", 12, 500};
constexpr Range kInputAmps{"A", 0.1, 100};
constexpr Range kTemperature{"C", -20, 100};
constexpr Range kMass{"kg", 0.05, 50};
constexpr Range kWire{"AWG", 1, 40};

class Checker {
 public:
  Checker(const proto::Unit& unit, const Rules& rules) : unit_(unit), rules_(rules) {}

  TextErrors check(const Place& place) {
    // Complaints quote names: those that could rewrite a terminal are refused before any is printed.
    texts(place);
    if (!errors_.empty()) return std::move(errors_);
    total(place);
    rails(place);
    sockets(place);
    for (int index = 0; index < unit_.combined_size(); ++index) combined(index, place.nested("combined", index));
    for (int index = 0; index < unit_.inputs_size(); ++index) input(index, place.nested("inputs", index));
    build(place);
    return std::move(errors_);
  }

 private:
  /// Says what is wrong with a figure that is printed or must be; true when it can be used.
  bool figure(const Place& place, std::string_view field, std::string_view what, bool given, double value,
              Range range) {
    std::string wrong;
    if (!given) {
      wrong = fmt::format("{} is missing", what);
    } else if (!std::isfinite(value)) {
      wrong = fmt::format("{} is not a figure", what);
    } else if (value < range.low || value > range.high) {
      wrong = fmt::format("{} of {} {} is not credible: {} to {} {}", what, number(value), range.unit,
                          number(range.low), number(range.high), range.unit);
    }
    if (wrong.empty()) return true;
    errors_.push_back(place.error(field, wrong));
    return false;
  }

  void text(const Place& place, std::string_view field, std::string_view value, int index = -1) {
    const std::string wrong = unprintable(field, value);
    if (!wrong.empty()) errors_.push_back(place.error(field, wrong, index));
  }

  void texts(const Place& place) {
    text(place, "id", unit_.id());
    text(place, "edition", unit_.edition());
    text(place, "date", unit_.date());
    for (int index = 0; index < unit_.sockets_size(); ++index) text(place, "sockets", unit_.sockets(index), index);
    for (int rail = 0; rail < unit_.rails_size(); ++rail) {
      for (int index = 0; index < unit_.rails(rail).sub_rails_size(); ++index) {
        const proto::SubRail& sub_rail = unit_.rails(rail).sub_rails(index);
        const Place here = place.nested("rails", rail).nested("sub_rails", index);
        text(here, "name", sub_rail.name());
        for (int at = 0; at < sub_rail.connectors_size(); ++at) text(here, "connectors", sub_rail.connectors(at), at);
      }
    }
  }

  void total(const Place& place) {
    figure(place, "total_w", "total", unit_.has_total_w(), unit_.total_w(), kTotal);
    if (unit_.has_peak_w()) figure(place, "peak_w", "peak", true, unit_.peak_w(), kTotal);
    if (unit_.has_total_at_c()) {
      figure(place, "total_at_c", "temperature of the total", true, unit_.total_at_c(), kTemperature);
    }
    if (!proto::TotalBasis_IsValid(unit_.total_basis())) {
      errors_.push_back(place.error("total_basis", fmt::format("total_basis {} is unknown", int{unit_.total_basis()})));
    }
  }

  void rails(const Place& place) {
    std::set<int> seen;
    for (int index = 0; index < unit_.rails_size(); ++index) {
      const proto::RailRating& rating = unit_.rails(index);
      const Place here = place.nested("rails", index);
      if (model::rail_label(rating.rail()).empty()) {
        errors_.push_back(here.error("rail", "rail is missing or unknown"));
        continue;
      }
      const std::string label(model::rail_label(rating.rail()));
      if (!seen.insert(rating.rail()).second) errors_.push_back(here.error("rail", label + " is given twice"));
      if (rating.has_amps() || rating.sub_rails().empty()) {
        figure(here, "amps", label + " amps", rating.has_amps(), rating.amps(), kAmps);
      }
      sub_rails(rating, label, here);
    }
    if (!seen.contains(proto::RAIL_P12V)) errors_.push_back(place.error("rails", "+12V is missing"));
  }

  void sub_rails(const proto::RailRating& rating, const std::string& label, const Place& place) {
    std::set<std::string> names;
    for (int index = 0; index < rating.sub_rails_size(); ++index) {
      const proto::SubRail& sub_rail = rating.sub_rails(index);
      const Place here = place.nested("sub_rails", index);
      if (sub_rail.name().empty()) {
        errors_.push_back(here.error("name", fmt::format("a sub-rail of {} has no name", label)));
      } else if (!names.insert(sub_rail.name()).second) {
        errors_.push_back(here.error("name", fmt::format("sub-rail {} is given twice", sub_rail.name())));
      }
      figure(here, "amps", fmt::format("{} {} amps", label, sub_rail.name()), sub_rail.has_amps(), sub_rail.amps(),
             kAmps);
      map(sub_rail, here);
    }
  }

  void map(const proto::SubRail& sub_rail, const Place& place) {
    std::set<std::string> seen;
    for (int index = 0; index < sub_rail.connectors_size(); ++index) {
      const std::string& socket = sub_rail.connectors(index);
      if (!seen.insert(socket).second) {
        errors_.push_back(place.error("connectors", fmt::format("socket \"{}\" is mapped twice", socket), index));
      } else if (!rules_.is_socket_name(socket)) {
        errors_.push_back(place.error("connectors", rules_.unknown_socket(socket), index));
      } else if (!unit_.sockets().empty() && std::ranges::find(unit_.sockets(), socket) == unit_.sockets().end()) {
        errors_.push_back(place.error(
            "connectors",
            fmt::format("socket \"{}\" is not among the unit's sockets: {}", socket, fmt::join(unit_.sockets(), ", ")),
            index));
      }
    }
  }

  void sockets(const Place& place) {
    std::set<std::string> seen;
    for (int index = 0; index < unit_.sockets_size(); ++index) {
      const std::string& socket = unit_.sockets(index);
      if (!seen.insert(socket).second) {
        errors_.push_back(place.error("sockets", fmt::format("socket \"{}\" is given twice", socket), index));
      } else if (!rules_.is_socket_name(socket)) {
        errors_.push_back(place.error("sockets", rules_.unknown_socket(socket), index));
      }
    }
  }

  void combined(int limit_index, const Place& place) {
    const proto::CombinedLimit& limit = unit_.combined(limit_index);
    figure(place, "watts", "watts of a combined limit", limit.has_watts(), limit.watts(), {"W", 1, kTotal.high});
    if (limit.rails_size() < 2) errors_.push_back(place.error("rails", "a combined limit needs two rails or more"));
    std::set<int> seen;
    for (int index = 0; index < limit.rails_size(); ++index) {
      const proto::Rail rail = limit.rails(index);
      const std::string label(model::rail_label(rail));
      if (label.empty()) {
        errors_.push_back(place.error("rails", "a combined limit names an unknown rail", index));
      } else if (!seen.insert(rail).second) {
        errors_.push_back(place.error("rails", fmt::format("a combined limit names {} twice", label), index));
      } else if (find_rail(unit_, rail) == nullptr) {
        errors_.push_back(
            place.error("rails", fmt::format("a combined limit names {}, which has no amps", label), index));
      }
    }
  }

  void input(int index, const Place& place) {
    const proto::InputRating& input = unit_.inputs(index);
    const bool low = figure(place, "volts_min", "input voltage", input.has_volts_min(), input.volts_min(), kInputVolts);
    if (input.has_volts_max() &&
        figure(place, "volts_max", "highest input voltage", true, input.volts_max(), kInputVolts) && low &&
        input.volts_max() < input.volts_min()) {
      errors_.push_back(place.error("volts_max", "the highest input voltage is below the lowest"));
    }
    figure(place, "amps", "input amps", input.has_amps(), input.amps(), kInputAmps);
  }

  void build(const Place& place) {
    if (unit_.has_mass_kg()) figure(place, "mass_kg", "mass", true, unit_.mass_kg(), kMass);
    if (unit_.has_wire_awg()) figure(place, "wire_awg", "wire", true, unit_.wire_awg(), kWire);
    if (!proto::EfficiencyMark_IsValid(unit_.efficiency_mark())) {
      errors_.push_back(
          place.error("efficiency_mark", fmt::format("efficiency_mark {} is unknown", int{unit_.efficiency_mark()})));
    }
    if (unit_.efficiency_mark() == proto::EFFICIENCY_MARK_ABSENT && !unit_.efficiency_text().empty()) {
      errors_.push_back(place.error("efficiency_text", "an absent efficiency mark has no words"));
    }
    if (!unit_.date().empty() && !is_date(unit_.date())) {
      errors_.push_back(
          place.error("date", fmt::format("date \"{}\" is none: 2024, 2024-05, 2024-05-17 or 2024-W20", unit_.date())));
    }
  }

  const proto::Unit& unit_;
  const Rules& rules_;
  TextErrors errors_;
};

}  // namespace

TextErrors check_unit(const proto::Unit& unit, const Place& place, const Rules& rules) {
  return Checker(unit, rules).check(place);
}

std::expected<proto::Unit, TextErrors> unit_from_text(std::string_view text, std::string_view file,
                                                      const Rules& rules) {
  proto::Unit unit;
  google::protobuf::TextFormat::ParseInfoTree tree;
  if (auto parsed = model::parse_text(text, file, unit, &tree); !parsed) {
    TextErrors errors = std::move(parsed.error());
    hint_at_commas(text, errors);
    return std::unexpected(std::move(errors));
  }
  TextErrors errors = check_unit(unit, Place(file, *proto::Unit::descriptor(), &tree), rules);
  if (!errors.empty()) return std::unexpected(std::move(errors));
  return unit;
}

}  // namespace host::label
