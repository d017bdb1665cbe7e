// SPDX-License-Identifier: Apache-2.0
#include "host/label/audit.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "host/label/power.h"
#include "host/label/remarks.h"
#include "host/model/jig.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

constexpr std::string_view kCaution = "a label is a claim, not a measurement";

void arithmetic(proto::LabelAudit& audit, std::string_view subject, std::string line) {
  proto::ArithmeticLine& added = *audit.add_arithmetic();
  added.set_subject(std::string(subject));
  added.set_line(std::move(line));
}

// Watts of one rail, and the line that shows them.
void rail_power(const proto::Unit& unit, const proto::RailRating& rating, proto::LabelAudit& audit) {
  proto::RailPower& power = *audit.add_rails();
  const double volts = rail_volts(rating.rail());
  power.set_rail(rating.rail());
  power.set_label(std::string(model::rail_label(rating.rail())));
  if (rating.has_amps()) {
    power.set_amps(rating.amps());
    power.set_watts(volts * rating.amps());
    arithmetic(audit, power.label(), times_line(volts, rating.amps()));
  } else {
    const double sum = volts * rail_amps(rating);
    power.set_sum_of_sub_rails(true);
    power.set_watts(std::min(sum, unit.total_w()));
    arithmetic(audit, power.label(),
               fmt::format("{}, sum of its sub-rails, at most the total: {} W", times_line(volts, rail_amps(rating)),
                           number(power.watts())));
  }
}

std::string sum_line(const proto::Unit& unit, const RailWatts& watts, double sum) {
  std::string line;
  for (const proto::Rail rail : kRailOrder) {
    if (find_rail(unit, rail) == nullptr) continue;
    line += fmt::format("{}{}", line.empty() ? "" : " + ", number(watts[rail]));
  }
  return fmt::format("{} = {} W", line, number(sum));
}

void sums(const proto::Unit& unit, proto::LabelAudit& audit) {
  const RailWatts full = full_amps_watts(unit);
  double sum = 0;
  for (const double watts : full) sum += watts;
  std::vector<int> crossing;
  const double together = most_together(full, unit.combined(), &crossing);
  audit.set_sum_full_amps_w(sum);
  audit.set_sum_within_combined_w(together);
  audit.set_excess_over_total_w(together - unit.total_w());
  arithmetic(audit, "all at full amps", sum_line(unit, full, sum));
  for (const auto& limit : unit.combined()) {
    std::string rails;
    for (const int rail : limit.rails()) {
      rails += fmt::format("{}{}", rails.empty() ? "" : " and ", model::rail_label(static_cast<proto::Rail>(rail)));
    }
    arithmetic(audit, "combined limit", fmt::format("{} together at most {} W", rails, number(limit.watts())));
  }
  arithmetic(audit, "all within limits",
             fmt::format("{} W against the total {} W: {} W {}", number(together), number(unit.total_w()),
                         number(std::abs(together - unit.total_w())), together < unit.total_w() ? "below" : "above"));
  for (std::size_t index = 0; index < crossing.size(); ++index) {
    audit.add_gaps(fmt::format("combined limit of {} W crosses another: left out, so sums are upper bounds",
                               number(unit.combined(crossing[index]).watts())));
  }
}

void twelve_volts(const proto::Unit& unit, proto::LabelAudit& audit) {
  const proto::RailPower& power = audit.rails(0);  // +12 V stands first and check_unit() demands it
  const double share = 100 * power.watts() / unit.total_w();
  audit.set_share_12v_percent(share);
  audit.set_share_12v_is_upper_bound(power.sum_of_sub_rails());
  arithmetic(audit, "+12V share",
             fmt::format("{}{} W / {} W = {:.1f} %", power.sum_of_sub_rails() ? "at most " : "", number(power.watts()),
                         number(unit.total_w()), share));
  const double left = left_for_12v(unit).value_or(0);
  audit.set_left_12v_w(left);
  audit.set_left_12v_a(left / rail_volts(proto::RAIL_P12V));
  RailWatts others = full_amps_watts(unit);
  others[proto::RAIL_P12V] = 0;
  const double taken = most_together(others, unit.combined());
  const double rest = unit.total_w() - taken;
  std::string line = fmt::format("{} W - {} W with every other output full = {} W", number(unit.total_w()),
                                 number(taken), number(rest));
  if (left < rest) line += fmt::format(", of which its own limits allow {} W", number(left));
  arithmetic(audit, "+12V keeps", fmt::format("{}: {:.1f} A", line, audit.left_12v_a()));
}

void minor_outputs(const proto::Unit& unit, proto::LabelAudit& audit) {
  if (find_rail(unit, proto::RAIL_P5V) == nullptr || find_rail(unit, proto::RAIL_P3V3) == nullptr) return;
  const RailWatts full = full_amps_watts(unit);
  const double watts = full[proto::RAIL_P5V] + full[proto::RAIL_P3V3];
  audit.set_minor_share_percent(100 * watts / unit.total_w());
  arithmetic(audit, "+5V and +3.3V share",
             fmt::format("({} + {}) W / {} W = {:.1f} % of the total", number(full[proto::RAIL_P5V]),
                         number(full[proto::RAIL_P3V3]), number(unit.total_w()), audit.minor_share_percent()));
}

// Headroom of each sub-rail when the load is unbalanced: alone, at an even share, and with the others at their limits.
void headroom(const proto::Unit& unit, const proto::RailRating& rating, proto::LabelAudit& audit) {
  const double volts = rail_volts(rating.rail());
  double limits = 0;
  for (const auto& sub_rail : rating.sub_rails()) limits += sub_rail.amps();
  const double rail = rating.has_amps() ? rating.amps() : std::min(limits, unit.total_w() / volts);
  for (const auto& sub_rail : rating.sub_rails()) {
    proto::SubRailHeadroom& found = *audit.add_sub_rails();
    found.set_rail(rating.rail());
    found.set_name(sub_rail.name());
    found.set_amps(sub_rail.amps());
    found.set_alone_a(std::min(sub_rail.amps(), rail));
    found.set_out_of_reach_a(rail - found.alone_a());
    found.set_even_share_a(rail / rating.sub_rails_size());
    found.set_above_share_a(sub_rail.amps() - found.even_share_a());
    found.set_others_full_a(std::clamp(rail - (limits - sub_rail.amps()), 0.0, found.alone_a()));
    for (const std::string& socket : sub_rail.connectors()) found.add_connectors(socket);
  }
}

proto::LabelVerdict verdict_of(const proto::LabelAudit& audit) {
  int heaviest = proto::REMARK_WEIGHT_UNKNOWN;
  for (const auto& remark : audit.remarks()) heaviest = std::max<int>(heaviest, remark.weight());
  if (heaviest >= proto::REMARK_WEIGHT_CONTRADICTION) return proto::LABEL_VERDICT_CONTRADICTS_ITSELF;
  if (heaviest >= proto::REMARK_WEIGHT_ASK) return proto::LABEL_VERDICT_NEEDS_EXPLAINING;
  return proto::LABEL_VERDICT_PLAUSIBLE;
}

}  // namespace

proto::LabelAudit audit(const proto::Unit& unit, const Rules& rules, const AuditOptions& options) {
  proto::LabelAudit audit;
  audit.set_unit(unit.id());
  audit.set_edition(unit.edition());
  audit.set_caution(std::string(kCaution));
  audit.set_total_w(unit.total_w());
  audit.set_total_basis(unit.total_basis());
  for (const proto::Rail rail : kRailOrder) {
    if (const proto::RailRating* rating = find_rail(unit, rail)) rail_power(unit, *rating, audit);
  }
  sums(unit, audit);
  twelve_volts(unit, audit);
  minor_outputs(unit, audit);
  for (const proto::Rail rail : kRailOrder) {
    if (const proto::RailRating* rating = find_rail(unit, rail)) headroom(unit, *rating, audit);
  }
  Remarks remarks(unit, rules, audit);
  remarks.contradictions();
  remarks.practice(options);
  audit.set_verdict(verdict_of(audit));
  return audit;
}

}  // namespace host::label
