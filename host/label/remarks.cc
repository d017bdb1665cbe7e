// SPDX-License-Identifier: Apache-2.0
#include "host/label/remarks.h"

#include <fmt/format.h>

#include <algorithm>

#include "host/label/power.h"
#include "host/model/jig.h"

namespace host::label {

namespace proto = steadyrail::proto;

void Remarks::raise(proto::LabelCheck check, const std::string& subject, const std::string& arithmetic) {
  const proto::LabelRule& rule = rules_.rule(check);
  proto::LabelRemark& remark = *audit_.add_remarks();
  remark.set_rule(rule.number());
  remark.set_check(check);
  remark.set_weight(rule.weight());
  remark.set_status(rule.status());
  std::string words = rule.words();
  if (const auto at = words.find("{threshold}"); at != words.npos) {
    words.replace(at, std::string_view("{threshold}").size(), number(rule.threshold()) + " " + rule.unit());
  }
  remark.set_words(words);
  remark.set_arithmetic(subject.empty() ? arithmetic : subject + ": " + arithmetic);
  if (rule.weight() != proto::REMARK_WEIGHT_CONTRADICTION) return;
  proto::ArithmeticLine& line = *audit_.add_arithmetic();
  line.set_subject(subject);
  line.set_line(arithmetic);
  line.set_contradicts(true);
}

bool Remarks::beyond(proto::LabelCheck check, double value, double limit) const {
  return value > limit * (1 + threshold(check) / 100);
}

void Remarks::contradictions() {
  rails_against_total();
  sub_rails_against_rail();
  combined_limits();
  sum_against_total();
  inputs();
  if (unit_.has_peak_w() && unit_.peak_w() < unit_.total_w()) {
    raise(proto::LABEL_CHECK_PEAK_BELOW_TOTAL, "peak",
          fmt::format("{} W, below the total {} W", number(unit_.peak_w()), number(unit_.total_w())));
  }
}

void Remarks::rails_against_total() {
  for (const proto::RailPower& power : audit_.rails()) {
    // The sum of sub-rails never lands here, it is taken as the total at most: each is a limit of its own, not a
    // promise for all at once.
    if (!beyond(proto::LABEL_CHECK_RAIL_ABOVE_TOTAL, power.watts(), unit_.total_w())) continue;
    raise(proto::LABEL_CHECK_RAIL_ABOVE_TOTAL, power.label(),
          fmt::format("{}, above the total {} W by {} W", times_line(rail_volts(power.rail()), power.amps()),
                      number(unit_.total_w()), number(power.watts() - unit_.total_w())));
  }
}

void Remarks::sub_rails_against_rail() {
  for (const proto::RailRating& rating : unit_.rails()) {
    const double volts = rail_volts(rating.rail());
    double sum = 0;
    for (const proto::SubRail& sub_rail : rating.sub_rails()) {
      sum += sub_rail.amps();
      if (beyond(proto::LABEL_CHECK_SUB_RAIL_ABOVE_TOTAL, volts * sub_rail.amps(), unit_.total_w())) {
        raise(proto::LABEL_CHECK_SUB_RAIL_ABOVE_TOTAL, sub_rail.name(),
              fmt::format("{}, above the total {} W", times_line(volts, sub_rail.amps()), number(unit_.total_w())));
      }
      if (rating.has_amps() && beyond(proto::LABEL_CHECK_SUB_RAIL_OUT_OF_REACH, sub_rail.amps(), rating.amps())) {
        raise(proto::LABEL_CHECK_SUB_RAIL_OUT_OF_REACH, sub_rail.name(),
              fmt::format("{} A, the whole rail {} A", number(sub_rail.amps()), number(rating.amps())));
      }
    }
    if (!rating.sub_rails().empty() && rating.has_amps() &&
        beyond(proto::LABEL_CHECK_SUB_RAILS_BELOW_RAIL, rating.amps(), sum)) {
      raise(proto::LABEL_CHECK_SUB_RAILS_BELOW_RAIL, std::string(model::rail_label(rating.rail())),
            fmt::format("sub-rails together {} A, the rail {} A", number(sum), number(rating.amps())));
    }
  }
}

void Remarks::combined_limits() {
  const RailWatts full = full_amps_watts(unit_);
  for (const proto::CombinedLimit& limit : unit_.combined()) {
    double sum = 0;
    std::string names;
    for (const int number_of_rail : limit.rails()) {
      const auto rail = static_cast<proto::Rail>(number_of_rail);
      const std::string label(model::rail_label(rail));
      sum += full[rail];
      names += (names.empty() ? "" : " and ") + label;
      if (find_rail(unit_, rail)->has_amps() &&
          beyond(proto::LABEL_CHECK_RAIL_ABOVE_COMBINED, full[rail], limit.watts())) {
        raise(proto::LABEL_CHECK_RAIL_ABOVE_COMBINED, label,
              fmt::format("{}, above the combined limit {} W",
                          times_line(rail_volts(rail), find_rail(unit_, rail)->amps()), number(limit.watts())));
      }
    }
    if (beyond(proto::LABEL_CHECK_COMBINED_ABOVE_TOTAL, limit.watts(), unit_.total_w())) {
      raise(proto::LABEL_CHECK_COMBINED_ABOVE_TOTAL, names,
            fmt::format("combined {} W, above the total {} W", number(limit.watts()), number(unit_.total_w())));
    }
    if (beyond(proto::LABEL_CHECK_COMBINED_IDLE, limit.watts(), sum)) {
      raise(proto::LABEL_CHECK_COMBINED_IDLE, names,
            fmt::format("combined {} W, the parts add up to {} W", number(limit.watts()), number(sum)));
    }
  }
}

void Remarks::sum_against_total() {
  double sum = audit_.sum_within_combined_w();
  std::string line = fmt::format("{} W within combined limits", number(sum));
  bool judged = true;
  for (const proto::Rail rail : kRailOrder) {
    if (find_rail(unit_, rail) != nullptr) continue;
    const std::string label(model::rail_label(rail));
    const double allowed = rules_.unprinted_w(rail);
    if (allowed == 0) {
      judged = false;
      raise(proto::LABEL_CHECK_RAIL_MISSING, label, "amps not printed");
      gap(fmt::format("{} amps not printed: the sum of all outputs was not held against the total", label));
      continue;
    }
    sum += allowed;
    line += fmt::format(" + {} W for {}, not printed, at most", number(allowed), label);
    gap(fmt::format("{} amps not printed: left out of the sums", label));
  }
  if (!judged) return;
  const double margin = threshold(proto::LABEL_CHECK_SUM_BELOW_TOTAL) / 100;
  if (sum >= unit_.total_w() * (1 - margin)) return;
  raise(proto::LABEL_CHECK_SUM_BELOW_TOTAL, "all outputs",
        fmt::format("{} = {} W, below the total {} W by {} W", line, number(sum), number(unit_.total_w()),
                    number(unit_.total_w() - sum)));
}

void Remarks::inputs() {
  for (const proto::InputRating& input : unit_.inputs()) {
    const double high = (input.has_volts_max() ? input.volts_max() : input.volts_min()) * input.amps();
    const double low = input.volts_min() * input.amps();
    const double share = threshold(proto::LABEL_CHECK_INPUT_TIGHT) / 100;
    if (beyond(proto::LABEL_CHECK_INPUT_BELOW_OUTPUT, unit_.total_w(), high)) {
      raise(proto::LABEL_CHECK_INPUT_BELOW_OUTPUT, "input",
            fmt::format("{} V x {} A = {} VA in, {} W out", number(high / input.amps()), number(input.amps()),
                        number(high), number(unit_.total_w())));
    } else if (low * share < unit_.total_w()) {
      raise(proto::LABEL_CHECK_INPUT_TIGHT, "input",
            fmt::format("{} W / ({} V x {} A) = {:.1f} %", number(unit_.total_w()), number(input.volts_min()),
                        number(input.amps()), 100 * unit_.total_w() / low));
    }
  }
  if (unit_.inputs().empty()) gap("input rating not printed: the input was not held against the total");
}

}  // namespace host::label
