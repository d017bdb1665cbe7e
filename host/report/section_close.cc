// SPDX-License-Identifier: Apache-2.0
// The answer at the head; what was not tested, cautions, hashes and versions at the end.
#include <fmt/format.h>

#include "host/report/answer.h"
#include "host/report/escape.h"
#include "host/report/markup.h"
#include "host/report/pictures.h"
#include "host/report/sections.h"
#include "host/report/words.h"

namespace host::report {
namespace {

namespace proto = steadyrail::proto;

std::string titled_bullets(std::string_view title, const std::vector<std::string>& items) {
  if (items.empty()) return "";
  return fmt::format("<h3>{}</h3>\n", html(title)) + bullets(items);
}

/// What a jig of this kind cannot see, whatever the session.
std::vector<std::string> beyond_the_jig() {
  return {
      "Ripple and noise up to 20 MHz: this jig sees a few kilohertz of it, enough to fail a unit, never to pass it.",
      "Dips shorter than about 60 µs: seen, but in less than their true depth.",
      "Slew of the load steps: edges steeper than one scan are not measured.",
      "How current divides among the pins of one connector.",
      "The sockets on the PC's own boards: fitting the jig re-seats the plugs, and may cure or cause a bad contact.",
      "Voltage at the chips: the PC's own regulators and the slot lie behind the connectors.",
      "Efficiency, inrush current, and anything on the mains side: earth, insulation, leakage, fuse.",
      "Protection thresholds that no load reached, long-term reliability, noise, radio interference.",
      "Faults that need the mains, the heat or the earthing of another place.",
  };
}

}  // namespace

std::string answer_section(const ReportInput& input) {
  const Answer said = answer(*input.result);
  std::string out = paragraph(said.headline, "headline");
  if (input.result->simulated()) {
    out += paragraph("This is a simulated session: no real supply was measured, and nothing here speaks of one.",
                     "simulated");
  }
  if (!said.conclusion.empty()) out += paragraph(said.conclusion);
  out += answer_figure(input);
  out += "<h3>What was asked</h3>\n" + paragraph(said.asked);
  out += titled_bullets("What was found", said.found);
  out += titled_bullets("What the conclusion rests on", said.rests_on);
  out += titled_bullets("What to do next", said.next_steps);
  out += titled_bullets("How sure this is", said.how_sure);
  out += titled_bullets("What it leaves open", said.not_tested);
  std::vector<std::string> remarks(input.result->remarks().begin(), input.result->remarks().end());
  return out + titled_bullets("Remarks", remarks);
}

std::string not_tested_section(const ReportInput& input) {
  std::vector<std::vector<Cell>> rows;
  for (const proto::Verdict& verdict : input.result->verdicts()) {
    if (verdict.decision() != proto::DECISION_NOT_TESTED) continue;
    rows.push_back({{place(verdict.rail(), verdict.channel())}, {word(verdict.quantity())}, {verdict.reason()}});
  }
  return table({"where", "quantity", "why not"}, rows) + bullets(beyond_the_jig());
}

std::string cautions_section(const ReportInput& input) {
  if (input.caution.empty()) return "";
  return "<pre class=\"caution\">" + html(input.caution) + "</pre>\n";
}

std::string versions_section(const ReportInput& input) {
  const proto::SessionFacts& session = input.result->session();
  return facts(
      {{"Recording", session.recording()},
       {"SHA-256 of the recording", session.recording_sha256()},
       {"SHA-256 of the limits", session.limits_sha256()},
       {"Program", session.host_version().empty() ? "" : "steadyrail " + session.host_version()},
       {"Firmware", session.firmware()},
       {"Boot counter of the jig", fmt::format("{}", session.boot())},
       {"Started (UTC)", session.started_utc()},
       {"Length", time_span(session.duration_s())},
       {"Ended", session.ended()},
       {"Jig's clock against the host's",
        session.clock_uncertainty_s() > 0 ? fmt::format("{:+.1f} ppm, {}", session.clock_rate_ppm(),
                                                        "placed to within " + time_span(session.clock_uncertainty_s()))
                                          : "not fitted"}});
}

}  // namespace host::report
