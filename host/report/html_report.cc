// SPDX-License-Identifier: Apache-2.0
#include "host/report/html_report.h"

#include <fmt/format.h>

#include "host/report/chart.h"
#include "host/report/escape.h"
#include "host/report/sections.h"

namespace host::report {
namespace {

struct Section {
  std::string_view id;
  std::string_view title;
  std::string (*body)(const ReportInput&);
};

/// In the order of the report. Lock-ups join before the end once a result has them.
constexpr Section kSections[] = {
    {"answer", "Answer", answer_section},
    {"unit", "Question and unit", unit_section},
    {"channels", "Set-up and channel map", channels_section},
    {"jig", "Jig and calibration", jig_section},
    {"edition", "Edition", edition_section},
    {"coverage", "Coverage", coverage_section},
    {"verdicts", "Verdicts", verdicts_section},
    {"events", "Events", events_section},
    {"steps", "Steps", steps_section},
    {"resistance", "Resistance", resistance_section},
    {"ripple", "Ripple in the jig's band", ripple_section},
    {"timing", "Timing", timing_section},
    {"lock-ups", "Lock-ups and shutdowns", lock_ups_section},
    {"not-tested", "What was not tested", not_tested_section},
    {"cautions", "Cautions", cautions_section},
    {"versions", "Hashes and versions", versions_section},
};

}  // namespace

std::string html_report(const ReportInput& input) {
  const bool simulated = input.result->simulated();
  const std::string unit = input.result->session().unit_id();
  const std::string title =
      fmt::format("{}Steadyrail report{}{}", simulated ? "Simulated: " : "", unit.empty() ? "" : ", unit ", unit);
  std::string out = "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n";
  out += "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n";
  out += fmt::format("<title>{}</title>\n<style>\n{}\n", html(title), input.style);
  if (simulated) out += "@page { @top-right { content: \"Simulated: no real supply was measured\"; } }\n";
  out += "</style>\n</head>\n<body>\n" + chart_definitions();
  out += fmt::format("<header><p class=\"title\">{}</p></header>\n<main>\n", html(title));
  for (const Section& section : kSections) {
    const std::string body = section.body(input);
    if (body.empty()) continue;
    out += fmt::format("<section id=\"{}\">\n<h2>{}{}</h2>\n{}</section>\n", section.id, section.title,
                       simulated ? " <span class=\"mark\">simulated</span>" : "", body);
  }
  return out + "</main>\n</body>\n</html>\n";
}

}  // namespace host::report
