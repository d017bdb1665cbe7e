// SPDX-License-Identifier: Apache-2.0
#include "host/report/comparison_report.h"

#include <cmath>
#include <vector>

#include <fmt/format.h>

#include "host/report/escape.h"
#include "host/report/markup.h"
#include "host/report/summary.h"
#include "host/report/words.h"

namespace host::report {
namespace {

namespace proto = steadyrail::proto;
using Rows = std::vector<std::vector<std::string>>;

/// Ohms read best as milliohms.
std::string amount(double value, const std::string& unit, bool with_sign = false) {
  const bool ohms = unit == "ohm";
  const std::string sign = with_sign && value >= 0 ? "+" : "";
  return ohms ? fmt::format("{}{:.2f} mohm", sign, 1e3 * value) : fmt::format("{}{:.4f} {}", sign, value, unit);
}

/// Both ends with one unit.
std::string interval(const proto::ComparedFigure& one) {
  const std::string low = amount(one.interval_low(), one.unit(), true);
  return fmt::format("{} to {}", low.substr(0, low.find(' ')), amount(one.interval_high(), one.unit(), true));
}

std::vector<std::string> session_header() {
  return {"",       "recording", "unit",           "jig",       "calibration", "edition",
          "length", "lock-ups",  "an hour (95 %)", "conclusion"};
}

Rows session_rows(const proto::Comparison& comparison) {
  Rows rows;
  for (const proto::ComparedSession& one : comparison.sessions()) {
    rows.push_back({one.state(), one.recording(), one.unit_id(), one.jig_id(), one.calibration_id(), one.edition(),
                    time_span(one.duration_s()), fmt::format("{}", one.lock_ups()),
                    one.has_lock_ups_per_h_high()
                        ? fmt::format("{:.3g} to {:.3g}", one.lock_ups_per_h_low(), one.lock_ups_per_h_high())
                        : "-",
                    word(one.conclusion())});
  }
  return rows;
}

std::vector<std::string> figure_header(const proto::Comparison& comparison) {
  std::vector<std::string> out{"figure", "place"};
  for (const proto::ComparedSession& one : comparison.sessions()) out.push_back(one.state());
  for (const char* name : {"B less A", "interval", "last A less first", "change", "note"}) out.emplace_back(name);
  return out;
}

Rows figure_rows(const proto::Comparison& comparison, bool shown_only) {
  Rows rows;
  for (const proto::ComparedFigure& one : comparison.figures()) {
    const bool shown = one.change() == proto::CHANGE_SHOWN || one.change() == proto::CHANGE_ONE_WAY;
    if (shown_only && !shown) continue;
    std::vector<std::string> row{one.figure(), fmt::format("{} at {}", one.rail(), one.channel())};
    for (const proto::ComparedValue& value : one.values()) {
      row.push_back(value.has_value() ? amount(value.value(), one.unit()) : "-");
    }
    row.push_back(one.has_effect() ? amount(one.effect(), one.unit(), true) : "-");
    row.push_back(one.has_effect() ? interval(one) : "-");
    row.push_back(one.has_return_gap() ? amount(one.return_gap(), one.unit(), true) : "-");
    row.push_back(word(one.change()));
    row.push_back(one.reason());
    rows.push_back(std::move(row));
  }
  return rows;
}

std::vector<std::string> lock_up_lines(const proto::ComparedLockUps& one) {
  std::vector<std::string> out;
  if (one.has_p_value()) {
    out.push_back(
        fmt::format("Fisher's exact test on minutes with and without a lock-up: p = {:.3g} two-sided, {:.3g} for "
                    "fewer when changed.",
                    one.p_value(), one.p_fewer_in_b()));
  }
  if (!one.has_rate_ratio_low()) return out;
  const std::string high = one.has_rate_ratio_high() ? fmt::format("{:.3g}", one.rate_ratio_high()) : "no bound";
  out.push_back(fmt::format(
      "Rate when changed over rate as found: {} (95 %: {:.3g} to {}), exact for Poisson processes.",
      one.has_rate_ratio() ? fmt::format("{:.3g}", one.rate_ratio()) : "none as found", one.rate_ratio_low(), high));
  return out;
}

constexpr std::string_view kHowSure =
    "The interval (95 %) holds what a difference of two sessions is uncertain by, and how far the figure repeats among "
    "sessions of one state, by Student's factor: 12.7 for A B A, 4.3 for A B A B; more sessions narrow it. Offsets and "
    "scale errors of one jig are common to its sessions and cancel, linearity and noise do not. Of resistances and "
    "droops "
    "the two intervals are combined, which overstates it. One of twenty figures may change by chance.";

std::vector<std::vector<Cell>> cells(const Rows& rows) {
  std::vector<std::vector<Cell>> out;
  for (const auto& row : rows) {
    auto& made = out.emplace_back();
    for (const std::string& text : row) made.push_back({text});
  }
  return out;
}

}  // namespace

std::string comparison_text(const proto::Comparison& comparison) {
  std::string out;
  if (comparison.simulated()) out += "SIMULATED: no real supply was measured.\n";
  for (const std::string& words : comparison.said()) out += terminal(words) + "\n";
  const std::string tag = comparison.simulated() ? ", simulated" : "";
  out += fmt::format("\nSessions{}\n", tag) + text_table(session_header(), session_rows(comparison));
  const Rows shown = figure_rows(comparison, true);
  if (!shown.empty()) out += fmt::format("\nChanged{}\n", tag) + text_table(figure_header(comparison), shown);
  out += fmt::format("\nAll figures{}\n", tag) + text_table(figure_header(comparison), figure_rows(comparison, false));
  out += '\n';
  for (const std::string& words : lock_up_lines(comparison.lock_ups())) out += words + "\n";
  out += std::string(kHowSure) + "\n";
  for (const std::string& words : comparison.not_compared()) out += "Not compared: " + terminal(words) + ".\n";
  for (const std::string& words : comparison.doubts()) out += "Doubt: " + terminal(words) + ".\n";
  return out;
}

std::string comparison_html(const proto::Comparison& comparison, std::string_view style, std::string_view caution) {
  const bool simulated = comparison.simulated();
  const std::string title = fmt::format("{}Steadyrail comparison", simulated ? "Simulated: " : "");
  const std::string mark = simulated ? " <span class=\"mark\">simulated</span>" : "";
  const auto section = [&](std::string_view id, std::string_view name, const std::string& body) {
    return body.empty() ? "" : fmt::format("<section id=\"{}\">\n<h2>{}{}</h2>\n{}</section>\n", id, name, mark, body);
  };
  const auto list = [](const auto& items) { return bullets({items.begin(), items.end()}); };
  std::string out = "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n";
  out += "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n";
  out += fmt::format("<title>{}</title>\n<style>\n{}\n", html(title), style);
  if (simulated) out += "@page { @top-right { content: \"Simulated: no real supply was measured\"; } }\n";
  out += fmt::format("</style>\n</head>\n<body>\n<header><p class=\"title\">{}</p></header>\n<main>\n", html(title));
  out += section("answer", "What came of it", list(comparison.said()));
  out += section("sessions", "Sessions", table(session_header(), cells(session_rows(comparison))));
  out += section("lock-ups", "Lock-ups", bullets(lock_up_lines(comparison.lock_ups())));
  out += section("changed", "Changed", table(figure_header(comparison), cells(figure_rows(comparison, true))));
  out += section("figures", "All figures",
                 table(figure_header(comparison), cells(figure_rows(comparison, false))) + paragraph(kHowSure));
  out += section("doubts", "What weakens it", list(comparison.not_compared()) + list(comparison.doubts()));
  out += section("hashes", "Hashes", [&] {
    std::vector<std::string> hashes;
    for (const auto& one : comparison.sessions()) hashes.push_back(one.recording() + ": " + one.recording_sha256());
    return bullets(hashes);
  }());
  out += section("cautions", "Cautions", fmt::format("<pre class=\"caution\">{}</pre>\n", html(caution)));
  return out + "</main>\n</body>\n</html>\n";
}

}  // namespace host::report
