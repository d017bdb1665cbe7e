// SPDX-License-Identifier: Apache-2.0
// What experience asks about: nothing here is impossible, and most of it has no published source.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "host/label/power.h"
#include "host/label/remarks.h"
#include "host/model/jig.h"

namespace host::label {

namespace proto = steadyrail::proto;

void Remarks::practice(const AuditOptions& options) {
  share_of_12v();
  sum_margin();
  minor_share();
  standby();
  total_condition();
  sub_rail_map();
  build();
  missing();
  if (options.need_12v_a && *options.need_12v_a > audit_.left_12v_a()) {
    raise(proto::LABEL_CHECK_NEED_NOT_COVERED, "+12V",
          fmt::format("keeps {:.1f} A, needed {} A", audit_.left_12v_a(), number(*options.need_12v_a)));
  }
}

void Remarks::share_of_12v() {
  const double share = audit_.share_12v_percent();
  const double ask = threshold(proto::LABEL_CHECK_SHARE_12V_ASK);
  const double warn = threshold(proto::LABEL_CHECK_SHARE_12V_WARN);
  if (share >= ask) return;
  const bool low = share < warn;
  raise(low ? proto::LABEL_CHECK_SHARE_12V_WARN : proto::LABEL_CHECK_SHARE_12V_ASK, "+12V share",
        fmt::format("{} W / {} W = {:.1f} %, below {} %", number(audit_.rails(0).watts()), number(unit_.total_w()),
                    share, number(low ? warn : ask)));
}

void Remarks::sum_margin() {
  for (const proto::Rail rail : {proto::RAIL_P5V, proto::RAIL_P3V3}) {
    if (find_rail(unit_, rail) == nullptr) return;  // sum_against_total() names the gap
  }
  const double margin = 100 * (audit_.sum_full_amps_w() / unit_.total_w() - 1);
  const std::string line =
      fmt::format("{} W / {} W = {:+.1f} %", number(audit_.sum_full_amps_w()), number(unit_.total_w()), margin);
  const bool close = std::abs(margin) <= threshold(proto::LABEL_CHECK_UNUSABLE_OUTPUTS);
  if (close && audit_.share_12v_percent() < threshold(proto::LABEL_CHECK_SHARE_12V_ASK)) {
    raise(proto::LABEL_CHECK_UNUSABLE_OUTPUTS, "all at full amps",
          fmt::format("{}, with +12V at {:.1f} %", line, audit_.share_12v_percent()));
  } else if (margin < threshold(proto::LABEL_CHECK_SUM_MARGIN)) {
    raise(proto::LABEL_CHECK_SUM_MARGIN, "all at full amps", line);
  }
}

void Remarks::minor_share() {
  if (!audit_.has_minor_share_percent()) {
    gap("+5V or +3.3V amps not printed: their share was not judged");
    return;
  }
  if (unit_.edition().empty()) {
    gap("no edition claimed: the share of +5V and +3.3V was not judged");
    return;
  }
  const auto published = rules_.distributions(unit_.edition());
  if (published.empty()) {
    gap(fmt::format("no typical distribution at hand for edition {}: the share of +5V and +3.3V was not judged",
                    unit_.edition()));
    return;
  }
  double highest = 0;
  double total_max = 0;
  const proto::TypicalDistribution* of = nullptr;
  for (const proto::TypicalDistribution* each : published) {
    double watts = 0;
    for (const proto::RailRating& rating : each->rails()) {
      const bool minor = rating.rail() == proto::RAIL_P5V || rating.rail() == proto::RAIL_P3V3;
      watts += minor ? rail_volts(rating.rail()) * rail_amps(rating) : 0;
    }
    total_max = std::max(total_max, each->total_w());
    if (100 * watts / each->total_w() <= highest) continue;
    highest = 100 * watts / each->total_w();
    of = each;
  }
  if (unit_.total_w() > total_max) {
    gap(fmt::format("the distributions published for {} end at {} W", unit_.edition(), number(total_max)));
  }
  if (!beyond(proto::LABEL_CHECK_MINOR_SHARE, audit_.minor_share_percent(), highest)) return;
  raise(proto::LABEL_CHECK_MINOR_SHARE, "+5V and +3.3V share",
        fmt::format("{:.1f} % of the total; highest published {:.1f} % ({}, {} W)", audit_.minor_share_percent(),
                    highest, of->document(), number(of->total_w())));
}

void Remarks::standby() {
  const proto::RailRating* rating = find_rail(unit_, proto::RAIL_P5VSB);
  if (rating == nullptr) return;
  const double amps = rail_amps(*rating);
  const double marginal = threshold(proto::LABEL_CHECK_STANDBY_MARGINAL);
  const double usual = threshold(proto::LABEL_CHECK_STANDBY_BELOW_USUAL);
  if (amps >= std::max(marginal, usual)) return;
  const bool low = amps < marginal;
  raise(low ? proto::LABEL_CHECK_STANDBY_MARGINAL : proto::LABEL_CHECK_STANDBY_BELOW_USUAL, "+5VSB",
        fmt::format("{} A, below {} A", number(amps), number(low ? marginal : usual)));
}

void Remarks::total_condition() {
  if (unit_.total_basis() == proto::TOTAL_BASIS_PEAK) {
    raise(proto::LABEL_CHECK_TOTAL_IS_PEAK, "total", fmt::format("{} W as a peak", number(unit_.total_w())));
  } else if (unit_.total_basis() == proto::TOTAL_BASIS_UNKNOWN) {
    gap("the label does not say whether the total is continuous");
  }
  const double cool = threshold(proto::LABEL_CHECK_RATED_COOL);
  if (!unit_.has_total_at_c()) {
    gap("the label does not say at which temperature the total holds");
  } else if (unit_.total_at_c() < cool) {
    raise(proto::LABEL_CHECK_RATED_COOL, "total",
          fmt::format("at {} C, below {} C", number(unit_.total_at_c()), number(cool)));
  }
}

void Remarks::sub_rail_map() {
  for (const proto::RailRating& rating : unit_.rails()) {
    std::map<std::string, std::string> here;
    for (const proto::SubRail& sub_rail : rating.sub_rails()) {
      if (sub_rail.connectors().empty()) gap(fmt::format("{}: the sockets it feeds are not printed", sub_rail.name()));
      for (const std::string& socket : sub_rail.connectors()) {
        const auto [found, fresh] = here.emplace(socket, sub_rail.name());
        if (fresh) continue;
        raise(proto::LABEL_CHECK_SOCKET_TWICE, socket, fmt::format("on {} and on {}", found->second, sub_rail.name()));
      }
    }
  }
}

void Remarks::build() {
  if (unit_.efficiency_mark() == proto::EFFICIENCY_MARK_ABSENT) {
    raise(proto::LABEL_CHECK_NO_EFFICIENCY_MARK, "efficiency mark", "looked for, absent");
  } else if (unit_.efficiency_mark() != proto::EFFICIENCY_MARK_PRESENT) {
    gap("efficiency mark not looked for");
  }
  if (!unit_.has_mass_kg()) {
    gap("not weighed");
  } else if (const double ratio = 1000 * unit_.mass_kg() / unit_.total_w();
             ratio < threshold(proto::LABEL_CHECK_LOW_MASS)) {
    raise(proto::LABEL_CHECK_LOW_MASS, "mass",
          fmt::format("{} g / {} W = {:.2f} g/W, below {} g/W", number(1000 * unit_.mass_kg()), number(unit_.total_w()),
                      ratio, number(threshold(proto::LABEL_CHECK_LOW_MASS))));
  }
  if (!unit_.has_wire_awg()) {
    gap("wire gauge not noted");
  } else if (unit_.wire_awg() > threshold(proto::LABEL_CHECK_THIN_WIRE)) {
    raise(
        proto::LABEL_CHECK_THIN_WIRE, "wire",
        fmt::format("{} AWG, thinner than {} AWG", unit_.wire_awg(), number(threshold(proto::LABEL_CHECK_THIN_WIRE))));
  }
}

void Remarks::missing() {
  const bool combined = std::ranges::any_of(unit_.combined(), [](const proto::CombinedLimit& limit) {
    return std::ranges::find(limit.rails(), int{proto::RAIL_P5V}) != limit.rails().end() &&
           std::ranges::find(limit.rails(), int{proto::RAIL_P3V3}) != limit.rails().end();
  });
  if (audit_.has_minor_share_percent() && !combined) {
    raise(proto::LABEL_CHECK_COMBINED_MISSING, "", "");
  }
  if (audit_.share_12v_is_upper_bound()) raise(proto::LABEL_CHECK_TWELVE_MISSING, "", "");
  if (unit_.edition().empty()) raise(proto::LABEL_CHECK_EDITION_MISSING, "", "");
  if (unit_.date().empty()) raise(proto::LABEL_CHECK_DATE_MISSING, "", "");
}

}  // namespace host::label
