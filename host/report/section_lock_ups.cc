// SPDX-License-Identifier: Apache-2.0
// Marked lock-ups with what came before them, and what each loss of PWR_OK looked like.
#include <algorithm>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "host/report/markup.h"
#include "host/report/sections.h"
#include "host/report/words.h"

namespace host::report {
namespace {

namespace proto = steadyrail::proto;

std::string lock_up_table(const proto::Evidence& evidence) {
  std::vector<std::vector<Cell>> rows;
  for (const proto::LockUp& one : evidence.lock_ups()) {
    const std::string before = one.hit() ? fmt::format("{}, {} before", one.event(), time_span(one.lead_s()))
                                         : "no event of the kinds declared";
    rows.push_back(
        {{fmt::format("{} to {}", moment(one.from_s()), moment(one.to_s()))},
         {one.reliance() < 1 ? fmt::format("{} (counts as a lock-up with {:.0f} %)", one.source(), 100 * one.reliance())
                             : one.source()},
         {one.words()},
         {before},
         {one.busy() ? "busy" : "idle"},
         {fmt::format("{} of {}", one.base_hits(), one.base_windows())},
         {one.refusal().empty() ? "weighed" : one.refusal()}});
  }
  return table({"between", "told by", "words", "before it", "load", "windows of that load with an event", "weighed"},
               rows);
}

std::string evidence_facts(const proto::Evidence& evidence) {
  const auto ratio = [](double value) { return fmt::format("{:.3g}", value); };
  return facts(
      {{"Declared before the session",
        fmt::format("an event within {:g} s before a lock-up counts; chance of one if the supply is at fault {:g}",
                    evidence.window_s(), evidence.chance_if_faulty())},
       {"Hash of the declaration", evidence.declaration_sha256()},
       {"Likelihood ratio", evidence.has_likelihood_ratio()
                                ? fmt::format("{} ({} to {}): {}", ratio(evidence.likelihood_ratio()),
                                              ratio(evidence.likelihood_ratio_low()),
                                              ratio(evidence.likelihood_ratio_high()), evidence.strength())
                                : evidence.refusal()},
       {"By chance alone", evidence.has_p_value() ? fmt::format("p = {:.2g}, {} tried", evidence.p_value(),
                                                                counted(evidence.tries(), "pair"))
                                                  : ""},
       {"Events of these kinds",
        fmt::format("{} in {:.2f} h seen{}", evidence.events(), evidence.exposure_h(),
                    evidence.has_events_per_h_upper()
                        ? fmt::format("; at most {:.3g} an hour (95 %)", evidence.events_per_h_upper())
                        : "")}});
}

std::string heartbeat_facts(const proto::HeartbeatSummary& beats) {
  if (beats.listened_at().empty()) return "";
  const std::string every = beats.period_s() > 0 ? fmt::format(", one every {:g} s", beats.period_s()) : "";
  return "<h3>Heartbeat of the PC</h3>\n" +
         facts({{"Listened at", beats.listened_at()},
                {"Came", fmt::format("{}{}; {} of the sender, {} ended in order", counted(beats.beats(), "beat"), every,
                                     counted(beats.runs(), "start"), beats.farewells())},
                {"Stopped", counted(beats.silences(), "time")},
                {"Granted for lateness", time_span(beats.late_bound_s())},
                {"Lost, out of order", fmt::format("{}, {}", beats.lost(), beats.out_of_order())}});
}

std::string shutdown_table(const proto::Diagnosis& diagnosis) {
  std::vector<std::vector<Cell>> rows;
  for (const proto::ShutdownRead& read : diagnosis.shutdowns()) {
    rows.push_back({{moment(read.at_s())},
                    {word(read.signature())},
                    {read.runner_up() == proto::SIGNATURE_UNKNOWN ? "-" : word(read.runner_up())},
                    {fmt::format("{}", fmt::join(read.facts(), "; "))}});
  }
  return table({"at", "looks like", "runner-up", "facts"}, rows);
}

}  // namespace

std::string lock_ups_section(const ReportInput& input) {
  const proto::Diagnosis& diagnosis = input.result->diagnosis();
  std::string out;
  if (diagnosis.has_evidence()) {
    out += paragraph(
        "Lock-ups are held against the events before them, and that against how often the same happens in windows of "
        "the "
        "same load without a lock-up. A ratio above 1 speaks for supply, wiring or mains, below 1 against them; below "
        "0.1, 10, 100 and 10,000 are the steps of its words, a scale of our own.");
    out += lock_up_table(diagnosis.evidence()) + evidence_facts(diagnosis.evidence());
    out += bullets({diagnosis.evidence().remarks().begin(), diagnosis.evidence().remarks().end()});
  }
  out += heartbeat_facts(input.result->session().heartbeats());
  if (!diagnosis.shutdowns().empty()) {
    out += "<h3>Falls of PWR_OK</h3>\n" + shutdown_table(diagnosis);
    out += paragraph("Read by the order of what went: common practice, no source. A likeness, never a proof.");
  }
  return out;
}

}  // namespace host::report
