// SPDX-License-Identifier: Apache-2.0
// What was found: coverage, verdicts, events, steps, timing.
#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "host/report/answer.h"
#include "host/report/chart.h"
#include "host/report/markup.h"
#include "host/report/pictures.h"
#include "host/report/sections.h"
#include "host/report/summary.h"
#include "host/report/words.h"

namespace host::report {
namespace {

namespace proto = steadyrail::proto;

constexpr std::size_t kEventsListedMax = 40;
constexpr int kGapsListedMax = 20;

/// The result with only its timing events, or only the others.
proto::SessionResult part(const proto::SessionResult& result, bool timing) {
  proto::SessionResult out;
  for (const proto::EventResult& event : result.events()) {
    if (is_timed(event.kind()) == timing) *out.add_events() = event;
  }
  for (const proto::EventCount& count : result.event_counts()) {
    if (is_timed(count.kind()) == timing) *out.add_event_counts() = count;
  }
  return out;
}

std::string event_value(const proto::EventResult& event) {
  if (event.kind() == proto::EVENT_KIND_LOAD_STEP) return figure(event.step_a(), 2, "A");
  return with_uncertainty(event.extreme_v(), event.expanded_uncertainty_v(), "V");
}

/// A storm is no failure as long as the stretch it was counted in.
std::string event_length(const proto::EventResult& event) {
  if (event.storm_excursions() > 0) {
    return fmt::format("storm of {} in {}", event.storm_excursions(), time_span(event.duration_s()));
  }
  return event.duration_s() > 0 ? time_span(event.duration_s()) : "";
}

std::string event_table(const proto::SessionResult& result) {
  std::vector<std::vector<Cell>> rows;
  for (const proto::EventResult* event : worst_events(result, kEventsListedMax)) {
    std::string remark = event->note();
    if (event->has_explained())
      remark += fmt::format("{}{}", remark.empty() ? "" : "; ",
                            event->explained() ? "explained by the load" : "not explained by the load");
    if (event->has_slew_a_per_s()) {
      remark += fmt::format("{}{}{:.3g} A/µs", remark.empty() ? "" : "; ", event->slew_at_least() ? "at least " : "",
                            std::abs(event->slew_a_per_s()) * 1e-6);
    }
    if (event->truncated()) remark += remark.empty() ? "truncated" : "; truncated";
    rows.push_back({{moment(event->start_s()), "number"},
                    {word(event->kind())},
                    {place(event->rail(), event->channel())},
                    {event_value(*event), "number"},
                    {event_length(*event), "number"},
                    {word(event->source())},
                    {word(event->within_rating())},
                    {word(event->decision()), word(event->decision())},
                    {remark}});
  }
  return table({"start", "kind", "where", "extreme", "duration", "source", "within rating", "decision", "remark"},
               rows);
}

/// Every event that happened, listed or not, by kind and channel.
std::string count_table(const proto::SessionResult& result) {
  std::vector<std::vector<Cell>> rows;
  for (const proto::EventCount& count : result.event_counts()) {
    std::string shorts;
    for (int scans = 0; scans < count.short_by_scans_size(); ++scans) {
      if (count.short_by_scans(scans) == 0) continue;
      const bool last = scans + 1 == count.short_by_scans_size();
      shorts += fmt::format("{}{} of {}", shorts.empty() ? "" : ", ", count.short_by_scans(scans),
                            scans == 0 ? "unknown length" : fmt::format("{}{}", last ? "at least " : "", scans));
    }
    rows.push_back({{word(count.kind())},
                    {count.channel()},
                    {fmt::format("{}", count.listed()), "number"},
                    {fmt::format("{}", count.counted()), "number"},
                    {shorts}});
  }
  return table({"kind", "channel", "listed", "only counted", "short ones near the limit, by scans beyond it"}, rows);
}

std::string event_body(const proto::SessionResult& events) {
  std::string out = event_table(events);
  if (events.events_size() > static_cast<int>(kEventsListedMax)) {
    out += paragraph(fmt::format("The {} worst of {} are shown; the JSON result holds the rest.", kEventsListedMax,
                                 counted(static_cast<unsigned long long>(events.events_size()), "listed event")));
  }
  return out;
}

std::string gap_table(const proto::Coverage& coverage) {
  std::vector<std::vector<Cell>> rows;
  for (int i = 0; i < std::min(coverage.gaps_size(), kGapsListedMax); ++i) {
    const proto::Gap& gap = coverage.gaps(i);
    rows.push_back({{moment(gap.start_s()), "number"},
                    {moment(gap.end_s()), "number"},
                    {time_span(gap.end_s() - gap.start_s()), "number"},
                    {word(gap.cause())}});
  }
  std::string out = table({"from", "to", "length", "cause"}, rows);
  if (coverage.gaps_total() > static_cast<std::uint64_t>(kGapsListedMax)) {
    out += paragraph(fmt::format("And {} more.", counted(coverage.gaps_total() - kGapsListedMax, "gap")));
  }
  return out;
}

}  // namespace

std::string coverage_section(const ReportInput& input) {
  const proto::Coverage& coverage = input.result->coverage();
  const double duration_s = input.result->session().duration_s();
  std::string out = paragraph(fmt::format(
      "{} of {} were seen over {}. {} damaged, {} discarded, {} in the record, {} at the end of the converter's range. "
      "A "
      "hole is never counted as a pass.",
      percent_of(coverage.scans_seen(), coverage.scans_expected()), counted(coverage.scans_expected(), "scan"),
      time_span(duration_s), counted(coverage.frames_damaged(), "frame"), counted(coverage.bytes_discarded(), "byte"),
      counted(coverage.gaps_total(), "gap"), counted(coverage.scans_clipped(), "scan")));
  const std::string strip = coverage_svg(coverage, duration_s);
  if (!strip.empty()) out += "<figure class=\"strip\">" + strip + "</figure>\n";
  return out + gap_table(coverage) + overview_figures(input);
}

namespace {

/// In per cent; what no normal table resolves as a bound.
std::string probability(double p) {
  constexpr double kLeast = 1e-4;
  if (p < kLeast) return "< 0.01 %";
  if (p > 1 - kLeast) return "> 99.99 %";
  return fmt::format("{:.2f} %", 100 * p);
}

}  // namespace

std::string verdicts_section(const ReportInput& input) {
  std::vector<std::vector<Cell>> rows;
  for (const proto::Verdict& verdict : input.result->verdicts()) {
    if (!is_counted(verdict)) continue;
    const std::string decision = word(verdict.decision());
    const bool judged = has_value(verdict);
    rows.push_back(
        {{verdict.rail()},
         {verdict.channel()},
         {word(verdict.quantity())},
         {judged ? quantity(verdict.value(), verdict.expanded_uncertainty(), verdict.unit()) : "", "number"},
         {judged ? fmt::format("{} {}", verdict.side() == "high" ? "at most" : "at least",
                               quantity(verdict.limit(), 0, verdict.unit()))
                 : "",
          "number"},
         {judged ? word(verdict.limit_status()) : ""},
         {judged ? word(verdict.within_rating()) : ""},
         {decision, decision},
         {verdict.guard_zone() == proto::GUARD_ZONE_NONE ? "" : word(verdict.guard_zone())},
         {verdict.has_probability_nonconforming() ? probability(verdict.probability_nonconforming()) : "", "number"},
         {verdict.reason()}});
  }
  const std::string rows_html = table({"rail", "channel", "quantity", "value", "limit", "limit known", "within rating",
                                       "decision", "guard zone", "P(beyond)", "why"},
                                      rows);
  if (rows_html.empty()) return "";
  return rows_html +
         paragraph(
             "static: settled means of 10 ms. dynamic: single samples, the farthest of the session. ripple: peak to "
             "peak in "
             "the jig's band, a bound from below that never passes. The value is the "
             "one nearest to breaking its limit, with its expanded uncertainty (k = 2). pass and fail clear the "
             "limit by all of that; undecided does not: conditional-pass lies inside the limit, conditional-fail "
             "beyond "
             "it (names of ILAC-G8:09/2019, 4.2.3). P(beyond) is the probability that the true value lies beyond the "
             "limit, for a normal error and without what a short dip hides.",
             "note");
}

std::string events_section(const ReportInput& input) {
  const proto::SessionResult events = part(*input.result, false);
  const std::string body = event_figures(input) + event_body(events);
  const std::string counts = count_table(events);
  return counts.empty() ? body : body + "<h3>How many of each</h3>\n" + counts;
}

namespace {

std::string millivolts(bool known, double volts) {
  return known ? figure(volts * 1e3, 0, "mV") : "";
}

/// A step whose undershoot stays inside the band has nothing to recover from, which is not a recovery in no time.
std::string recovery(const proto::StepSummary& steps) {
  std::string text = steps.has_recovery_s_median() ? time_span(steps.recovery_s_median()) : "";
  if (steps.stayed_in_band() == 0) return text;
  if (!text.empty()) text += fmt::format(" of {}; ", steps.recoveries());
  return text + fmt::format("{} never left the band", steps.stayed_in_band());
}

}  // namespace

std::string steps_section(const ReportInput& input) {
  std::vector<std::vector<Cell>> rows;
  for (const proto::StepSummary& steps : input.result->steps()) {
    rows.push_back({{steps.channel()},
                    {steps.current_channel()},
                    {steps.rising() ? "rising" : "falling"},
                    {fmt::format("{}", steps.steps()), "number"},
                    {steps.has_specified_step_a() ? fmt::format("{} above {}", steps.beyond_specified(),
                                                                figure(steps.specified_step_a(), 1, "A"))
                                                  : "not known",
                     "number"},
                    {steps.has_step_a_median() ? figure(steps.step_a_median(), 1, "A") : "", "number"},
                    {millivolts(steps.has_deviation_v_median(), steps.deviation_v_median()), "number"},
                    {millivolts(steps.has_deviation_v_worst(), steps.deviation_v_worst()), "number"},
                    {millivolts(steps.has_undershoot_v_median(), steps.undershoot_v_median()), "number"},
                    {millivolts(steps.has_settled_shift_v_median(), steps.settled_shift_v_median()), "number"},
                    {steps.has_time_to_minimum_s_median() ? time_span(steps.time_to_minimum_s_median()) : "", "number"},
                    {recovery(steps), "number"}});
  }
  return table(
      {"channel", "load seen by", "load", "steps", "bigger than specified", "median step", "median deviation",
       "worst deviation", "median undershoot", "median settled shift", "median time to minimum", "median recovery"},
      rows);
}

std::string timing_section(const ReportInput& input) {
  const proto::SessionResult timing = part(*input.result, true);
  std::vector<std::vector<Cell>> rows;
  for (const proto::EventResult& event : timing.events()) {
    if (rows.size() == kEventsListedMax) break;
    std::string figures;
    for (const proto::Figure& figure : event.figures()) {
      figures += fmt::format("{}{} at {} {}", figures.empty() ? "" : "; ", word(figure.quantity()), figure.channel(),
                             quantity(figure.value(), figure.expanded_uncertainty(), figure.unit()));
    }
    rows.push_back({{moment(event.start_s()), "number"},
                    {word(event.kind())},
                    {event.channel()},
                    {event.duration_s() > 0 ? time_span(event.duration_s()) : "", "number"},
                    {word(event.source())},
                    {event.truncated() ? event.note() + "; truncated" : event.note()},
                    {figures}});
  }
  if (rows.empty()) return "";
  std::string out = table({"start", "kind", "where", "duration", "source", "what happened", "timed"}, rows);
  if (timing.events_size() > static_cast<int>(kEventsListedMax)) {
    out += paragraph(fmt::format("The first {} of {} are shown; the JSON result holds the rest.", kEventsListedMax,
                                 counted(static_cast<unsigned long long>(timing.events_size()), "listed event")));
  }
  return out + "<h3>How many of each</h3>\n" + count_table(timing);
}

}  // namespace host::report
