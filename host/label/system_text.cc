// SPDX-License-Identifier: Apache-2.0
#include "host/label/system_text.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "host/label/decimal_comma.h"
#include "host/label/power.h"
#include "host/label/printable.h"
#include "host/model/jig.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;
using model::Place;
using model::TextErrors;

// What a figure of a PC's part may be; beyond it a point was lost, a unit mistaken or a key slipped. Common practice,
// no source.
struct Range {
  std::string_view unit;
  double low;
  double high;
};
constexpr Range kWatts{"W", 0.01, 5000};
constexpr Range kAmps{"A", 0.001, 500};
constexpr Range kEfficiency{"(a share)", 0.3, 1};
constexpr Range kShare{"(a share)", 0.001, 1};
constexpr Range kDuration{"s", 1e-6, 3600};
constexpr Range kPercent{"%", 100, 1000};
constexpr std::uint32_t kCountMost = 64;
constexpr int kListMost = 200;  // of parts, plugs and the like: no PC has so many
constexpr double kShareSlack = 1e-6;

class Checker {
 public:
  Checker(const proto::System& system, const Rules& rules, const Plugs& plugs)
      : system_(system), rules_(rules), plugs_(plugs) {}

  TextErrors check(const Place& place) {
    // Complaints quote names: those that could rewrite a terminal are refused before any is printed.
    texts(place);
    if (!errors_.empty()) return std::move(errors_);
    if (system_.parts_size() > kListMost || system_.cables_size() > kListMost) {
      errors_.push_back(place.error(fmt::format("more than {} parts or cables: no PC has so many", kListMost)));
      return std::move(errors_);
    }
    if (system_.parts().empty()) errors_.push_back(place.error("parts", "no part is described"));
    if (system_.cables().empty()) errors_.push_back(place.error("cables", "no cable is described"));
    cables(place);
    std::set<std::string> names;
    for (int index = 0; index < system_.parts_size(); ++index) {
      const proto::Part& part = system_.parts(index);
      const Place here = place.nested("parts", index);
      named(part.name(), "part", names, here);
      this->part(part, here);
    }
    return std::move(errors_);
  }

 private:
  bool figure(const Place& place, std::string_view field, std::string_view what, double value, Range range) {
    if (std::isfinite(value) && value >= range.low && value <= range.high) return true;
    errors_.push_back(place.error(field, std::isfinite(value)
                                             ? fmt::format("{} of {:g} {} is not credible: {:g} to {:g} {}", what,
                                                           value, range.unit, range.low, range.high, range.unit)
                                             : fmt::format("{} is not a figure", what)));
    return false;
  }

  void text(const Place& place, std::string_view field, std::string_view value) {
    const std::string wrong = unprintable(field, value);
    if (!wrong.empty()) errors_.push_back(place.error(field, wrong));
  }

  void texts(const Place& place) {
    text(place, "id", system_.id());
    for (int p = 0; p < system_.parts_size(); ++p) {
      const Place here = place.nested("parts", p);
      text(here, "name", system_.parts(p).name());
      for (int d = 0; d < system_.parts(p).draws_size(); ++d) {
        const proto::Draw& draw = system_.parts(p).draws(d);
        for (int i = 0; i < draw.inlets_size(); ++i) {
          text(here.nested("draws", d).nested("inlets", i), "plug", draw.inlets(i).plug());
        }
      }
    }
    for (int c = 0; c < system_.cables_size(); ++c) {
      const Place here = place.nested("cables", c);
      text(here, "socket", system_.cables(c).socket());
      for (int i = 0; i < system_.cables(c).plugs_size(); ++i) {
        text(here.nested("plugs", i), "name", system_.cables(c).plugs(i).name());
      }
    }
  }

  void named(const std::string& name, std::string_view what, std::set<std::string>& seen, const Place& place) {
    if (name.empty()) {
      errors_.push_back(place.error("name", fmt::format("a {} has no name", what)));
    } else if (!seen.insert(name).second) {
      errors_.push_back(place.error("name", fmt::format("{} \"{}\" is given twice", what, name)));
    }
  }

  void cables(const Place& place) {
    std::set<std::string> sockets;
    std::set<std::string> names;
    for (int index = 0; index < system_.cables_size(); ++index) {
      const proto::SystemCable& cable = system_.cables(index);
      const Place here = place.nested("cables", index);
      if (!rules_.is_socket_name(cable.socket())) {
        errors_.push_back(here.error("socket", rules_.unknown_socket(cable.socket())));
      } else if (!sockets.insert(cable.socket()).second) {
        errors_.push_back(
            here.error("socket", fmt::format("socket \"{}\" is given twice: list its plugs together", cable.socket())));
      }
      if (cable.plugs().empty()) errors_.push_back(here.error("plugs", "a cable ends in no plug"));
      for (int i = 0; i < cable.plugs_size(); ++i) {
        const proto::Plug& plug = cable.plugs(i);
        named(plug.name(), "plug", names, here.nested("plugs", i));
        this->plug(plug, cable.socket(), here.nested("plugs", i));
      }
    }
  }

  void plug(const proto::Plug& plug, const std::string& socket, const Place& place) {
    if (plug.kind() == proto::PLUG_KIND_UNKNOWN || !proto::PlugKind_IsValid(plug.kind())) {
      errors_.push_back(place.error("kind", fmt::format("the kind of plug \"{}\" is missing", plug.name())));
      return;
    }
    kinds_[plug.name()] = plug.kind();
    const proto::PlugClass& one = plugs_.of(plug.kind());
    const std::string_view family = family_of(socket);
    if (!rules_.is_socket_name(socket) || std::ranges::find(one.families(), family) != one.families().end()) return;
    const bool other_way = (family == "processor" && one.families(0) == "graphics") ||
                           (family == "graphics" && one.families(0) == "processor");
    errors_.push_back(place.error(
        "kind", fmt::format("socket \"{}\" is not for a {}{}", socket, one.title(),
                            other_way ? ": same pitch, opposite polarity, a forced plug shorts +12 V" : "")));
  }

  void part(const proto::Part& part, const Place& place) {
    if (part.kind() == proto::PART_KIND_UNKNOWN || !proto::PartKind_IsValid(part.kind())) {
      errors_.push_back(place.error("kind", fmt::format("the kind of part \"{}\" is missing", part.name())));
    }
    if (part.has_count() && (part.count() == 0 || part.count() > kCountMost)) {
      errors_.push_back(
          place.error("count", fmt::format("count of {} is not credible: 1 to {}", part.count(), kCountMost)));
    }
    if (part.draws().empty()) {
      errors_.push_back(place.error("draws", fmt::format("part \"{}\" draws nothing", part.name())));
    }
    for (int index = 0; index < part.draws_size(); ++index) draw(part.draws(index), place.nested("draws", index));
  }

  void draw(const proto::Draw& draw, const Place& place) {
    if (model::rail_label(draw.rail()).empty()) {
      errors_.push_back(place.error("rail", "rail is missing or unknown"));
      return;
    }
    const std::string label(model::rail_label(draw.rail()));
    bool sound = false;
    if (draw.has_watts() == draw.has_amps()) {
      errors_.push_back(place.error(
          fmt::format("a draw of {} wants {}", label, draw.has_watts() ? "watts or amps, not both" : "watts or amps")));
    } else if (draw.has_watts()) {
      sound = figure(place, "watts", label + " watts", draw.watts(), kWatts);
    } else {
      sound = figure(place, "amps", label + " amps", draw.amps(), kAmps);
    }
    if (draw.has_efficiency()) figure(place, "efficiency", "efficiency", draw.efficiency(), kEfficiency);
    excursions(draw, sound, place);
    inlets(draw, label, place);
  }

  /// Percent of the draw; nothing when it cannot be told.
  std::optional<double> level(const proto::Draw& draw, const proto::DrawExcursion& one, const Place& place) {
    if (int{one.has_watts()} + int{one.has_amps()} + int{one.has_percent()} != 1) {
      errors_.push_back(place.error("an excursion wants watts, amps or percent, one of them"));
      return std::nullopt;
    }
    if (one.has_percent()) {
      if (!figure(place, "percent", "percent of an excursion", one.percent(), kPercent)) return std::nullopt;
      return one.percent();
    }
    if (one.has_watts() != draw.has_watts()) {
      errors_.push_back(place.error(one.has_watts() ? "watts" : "amps",
                                    "an excursion stands in the unit of its draw, or in percent"));
      return std::nullopt;
    }
    const bool fits = one.has_watts() ? figure(place, "watts", "watts of an excursion", one.watts(), kWatts)
                                      : figure(place, "amps", "amps of an excursion", one.amps(), kAmps);
    if (!fits) return std::nullopt;
    return 100 * (one.has_watts() ? one.watts() / draw.watts() : one.amps() / draw.amps());
  }

  void excursions(const proto::Draw& draw, bool sound, const Place& place) {
    std::map<double, double> percents;  // by duration
    for (int index = 0; index < draw.excursions_size(); ++index) {
      const proto::DrawExcursion& one = draw.excursions(index);
      const Place here = place.nested("excursions", index);
      if (!one.has_duration_s()) {
        errors_.push_back(here.error("duration_s", "the duration of an excursion is missing"));
        continue;
      }
      if (!figure(here, "duration_s", "duration", one.duration_s(), kDuration) || !sound) continue;
      const auto percent = level(draw, one, here);
      if (!percent) continue;
      if (*percent < 100) {
        errors_.push_back(here.error(fmt::format("an excursion of {:.0f} % lies below its draw", *percent)));
      } else if (!percents.emplace(one.duration_s(), *percent).second) {
        errors_.push_back(
            here.error("duration_s", fmt::format("an excursion of {:g} s is given twice", one.duration_s())));
      }
    }
    for (auto at = percents.begin(); at != percents.end() && std::next(at) != percents.end(); ++at) {
      if (at->second >= std::next(at)->second) continue;
      errors_.push_back(place.error(
          "excursions",
          fmt::format("the excursion of {:g} s ({:.0f} %) is lower than the longer one of {:g} s ({:.0f} %)", at->first,
                      at->second, std::next(at)->first, std::next(at)->second)));
    }
  }

  void inlets(const proto::Draw& draw, const std::string& label, const Place& place) {
    if (draw.inlets().empty()) {
      errors_.push_back(place.error("inlets", fmt::format("by which plug {} comes is missing", label)));
      return;
    }
    std::set<std::string> seen;
    double shares = 0;
    int open = 0;
    for (int index = 0; index < draw.inlets_size(); ++index) {
      const proto::Inlet& inlet = draw.inlets(index);
      const Place here = place.nested("inlets", index);
      const auto kind = kinds_.find(inlet.plug());
      if (!seen.insert(inlet.plug()).second) {
        errors_.push_back(here.error("plug", fmt::format("plug \"{}\" is named twice", inlet.plug())));
      } else if (kind == kinds_.end()) {
        errors_.push_back(here.error("plug", fmt::format("no cable ends in plug \"{}\"", inlet.plug())));
      } else if (plugs_.circuits(kind->second, draw.rail()) == 0) {
        errors_.push_back(here.error("plug", fmt::format("plug \"{}\", a {}, carries no {}", inlet.plug(),
                                                         plugs_.of(kind->second).title(), label)));
      }
      open += inlet.has_share() ? 0 : 1;
      if (inlet.has_share() && figure(here, "share", "share", inlet.share(), kShare)) shares += inlet.share();
    }
    const bool whole = open > 0 ? shares < 1 - kShareSlack : std::abs(shares - 1) <= kShareSlack;
    if (!whole) {
      errors_.push_back(place.error(
          "inlets", fmt::format("the shares of {} add up to {:g}{}", label, shares,
                                open > 0 ? ", so that nothing is left for the plugs without one" : ", not to 1")));
    }
  }

  const proto::System& system_;
  const Rules& rules_;
  const Plugs& plugs_;
  std::map<std::string, proto::PlugKind> kinds_;  // of the plugs by name
  TextErrors errors_;
};

}  // namespace

TextErrors check_system(const proto::System& system, const Place& place, const Rules& rules, const Plugs& plugs) {
  return Checker(system, rules, plugs).check(place);
}

std::expected<proto::System, TextErrors> system_from_text(std::string_view text, std::string_view file,
                                                          const Rules& rules, const Plugs& plugs) {
  proto::System system;
  google::protobuf::TextFormat::ParseInfoTree tree;
  if (auto parsed = model::parse_text(text, file, system, &tree); !parsed) {
    TextErrors errors = std::move(parsed.error());
    hint_at_commas(text, errors);
    return std::unexpected(std::move(errors));
  }
  TextErrors errors = check_system(system, Place(file, *proto::System::descriptor(), &tree), rules, plugs);
  if (!errors.empty()) return std::unexpected(std::move(errors));
  return system;
}

}  // namespace host::label
