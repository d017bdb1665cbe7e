// SPDX-License-Identifier: Apache-2.0
#include "host/report/csv.h"

#include <charconv>
#include <cmath>
#include <iterator>

#include <fmt/format.h>

#include "host/report/words.h"

namespace host::report {
namespace {

/// Shortest digits that read back equal; empty for what is not a number.
std::string number(double value) {
  if (!std::isfinite(value)) return "";
  char digits[40];
  const auto end = std::to_chars(digits, digits + sizeof digits, value);
  return {digits, end.ptr};
}

/// "rise-time main-12v 0.0099 s; ..."
std::string figures_of(const steadyrail::proto::EventResult& event) {
  std::string out;
  for (const auto& figure : event.figures()) {
    out += fmt::format("{}{} {} {} {}", out.empty() ? "" : "; ", word(figure.quantity()), figure.channel(),
                       number(figure.value()), figure.unit());
  }
  return out;
}

}  // namespace

std::string csv_field(std::string_view text) {
  if (text.find_first_of(",\"\r\n") == std::string_view::npos) return std::string(text);
  std::string out = "\"";
  for (const char letter : text) {
    if (letter == '"') out += '"';
    out += letter;
  }
  return out + '"';
}

std::string events_csv(const steadyrail::proto::SessionResult& result) {
  std::string out =
      "simulated,event_id,kind,channel,rail,side,start_s,start_uncertainty_s,duration_s,extreme_v,"
      "expanded_uncertainty_v,depth_v,area_vs,source,within_rating,decision,truncated,step_a,deviation_v,undershoot_v,"
      "settled_shift_v,time_to_minimum_s,recovery_s,explained,retained,slew_a_per_s,slew_at_least,"
      "deviation_uncertainty_v,bias_bound_v,guard_zone,storm_excursions,within_step,specified_step_a,"
      "resistance_step_ohm,resistance_step_u_ohm,note,first,figures\r\n";
  const std::string_view simulated = result.simulated() ? "yes" : "no";
  const auto maybe = [](bool present, double value) { return present ? number(value) : std::string{}; };
  for (const steadyrail::proto::EventResult& e : result.events()) {
    const std::string explained = e.has_explained() ? (e.explained() ? "yes" : "no") : "";
    fmt::format_to(
        std::back_inserter(out),
        "{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{}"
        ",{}"
        "\r\n",
        simulated, e.event_id(), word(e.kind()), csv_field(e.channel()), csv_field(e.rail()), csv_field(e.side()),
        number(e.start_s()), number(e.start_uncertainty_s()), number(e.duration_s()), number(e.extreme_v()),
        number(e.expanded_uncertainty_v()), number(e.depth_v()), maybe(e.has_area_vs(), e.area_vs()), word(e.source()),
        word(e.within_rating()), word(e.decision()), e.truncated() ? "yes" : "no", maybe(e.has_step_a(), e.step_a()),
        maybe(e.has_deviation_v(), e.deviation_v()), maybe(e.has_undershoot_v(), e.undershoot_v()),
        maybe(e.has_settled_shift_v(), e.settled_shift_v()), maybe(e.has_time_to_minimum_s(), e.time_to_minimum_s()),
        maybe(e.has_recovery_s(), e.recovery_s()), explained, maybe(e.has_retained(), e.retained()),
        maybe(e.has_slew_a_per_s(), e.slew_a_per_s()), e.has_slew_a_per_s() ? (e.slew_at_least() ? "yes" : "no") : "",
        maybe(e.has_deviation_uncertainty_v(), e.deviation_uncertainty_v()),
        maybe(e.has_bias_bound_v(), e.bias_bound_v()), word(e.guard_zone()), e.storm_excursions(),
        word(e.within_step()), maybe(e.has_specified_step_a(), e.specified_step_a()),
        maybe(e.has_resistance_step_ohm(), e.resistance_step_ohm()),
        maybe(e.has_resistance_step_u_ohm(), e.resistance_step_u_ohm()), csv_field(e.note()), csv_field(e.first()),
        csv_field(figures_of(e)));
  }
  return out;
}

void write_windows_header(std::ostream& out) {
  out << "channel,start_s,length_s,min_v,mean_v,max_v,noise_rms_v,min_a,mean_a,max_a,noise_rms_a,scans_below_limit,"
         "scans_above_limit\r\n";
}

void write_window(std::ostream& out, const WindowRow& row) {
  const std::string figures =
      fmt::format("{},{},{},{}", number(row.min), number(row.mean), number(row.max), number(row.rms));
  out << csv_field(row.channel) << ',' << number(row.start_s) << ',' << number(row.length_s) << ','
      << (row.amperes ? ",,,," + figures : figures + ",,,,") << ',' << row.scans_below << ',' << row.scans_above
      << "\r\n";
}

}  // namespace host::report
