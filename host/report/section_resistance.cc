// SPDX-License-Identifier: Apache-2.0
// Figures fitted to settled levels: output resistance, contacts, cross-regulation, returns, the jig's own burden; and
// ripple as a bound.
#include <fmt/format.h>
#include <fmt/ranges.h>

#include "host/report/answer.h"
#include "host/report/markup.h"
#include "host/report/sections.h"
#include "host/report/words.h"

namespace host::report {
namespace {

namespace proto = steadyrail::proto;

using Rows = std::vector<std::vector<Cell>>;

std::string milliohms(double ohms) {
  return fmt::format("{:.2f} mohm", 1e3 * ohms);
}

std::string millivolts(double volts) {
  return figure(1e3 * volts, 1, "mV");
}

/// "8.95 to 9.62"
std::string interval(double low, double high) {
  return fmt::format("{:.2f} to {:.2f}", 1e3 * low, 1e3 * high);
}

std::string titled(std::string_view title, const std::string& body) {
  return body.empty() ? "" : fmt::format("<h3>{}</h3>\n", title) + body;
}

std::string output_table(const proto::SessionResult& result) {
  Rows rows;
  for (const proto::OutputResistance& row : result.output_resistances()) {
    const bool told = row.has_value();
    std::string remark = row.refusal();
    for (const std::string& other : row.taken_out()) {
      remark += (remark.empty() ? "taken out: " : ", ") + other;
    }
    rows.push_back({{place(row.rail(), row.channel())},
                    {row.current_channel()},
                    {told ? milliohms(row.value()) : "", "number"},
                    {told ? interval(row.interval_low(), row.interval_high()) : "", "number"},
                    {told ? figure(row.open_circuit_v(), 3, "V") : "", "number"},
                    {fmt::format("{:.1f} to {:.1f} A", row.current_least_a(), row.current_most_a()), "number"},
                    {fmt::format("{}", row.points()), "number"},
                    {word(row.source())},
                    {remark}});
  }
  return table(
      {"where", "load", "output resistance", "95 %", "at no load", "levels of load", "points", "source", "remark"},
      rows);
}

std::string contact_table(const proto::SessionResult& result) {
  Rows rows;
  for (const proto::ContactResistance& row : result.contact_resistances()) {
    const bool told = row.has_value();
    const bool excess = row.has_excess();
    const std::string mark = row.flagged() ? "more than 10 mohm too much" : "";
    rows.push_back({{place(row.rail(), row.channel())},
                    {row.reference()},
                    {row.conductor()},
                    {told ? milliohms(row.value()) : "", "number"},
                    {told ? interval(row.interval_low(), row.interval_high()) : "", "number"},
                    {excess ? milliohms(row.expected()) : "", "number"},
                    {excess ? milliohms(row.excess()) : "", "number"},
                    {excess ? interval(row.excess_low(), row.excess_high()) : "", "number"},
                    {excess ? fmt::format("{:.1f} W at {:.1f} A", row.heat_w(), row.heat_a()) : "", "number"},
                    {word(row.source())},
                    {!row.refusal().empty() ? row.refusal()
                     : excess               ? mark
                                            : row.excess_refusal(),
                     row.flagged() ? "fail" : ""}});
  }
  return table({"where", "against", "conductor", "resistance", "95 %", "wire and contacts", "excess", "95 %", "heat",
                "source", "remark"},
               rows);
}

std::string cross_table(const proto::CrossRegulation& cross) {
  Rows rows;
  for (const proto::CrossRegulationEntry& entry : cross.entries()) {
    rows.push_back(
        {{place(entry.rail(), entry.channel())},
         {entry.load()},
         {fmt::format("{:+.2f} mV/A", 1e3 * entry.value()), "number"},
         {fmt::format("{:+.2f} to {:+.2f}", 1e3 * entry.interval_low(), 1e3 * entry.interval_high()), "number"}});
  }
  std::string out = table({"voltage", "for each ampere of", "change", "95 %"}, rows);
  if (!cross.refusal().empty()) out += paragraph("Not told: " + cross.refusal() + ".");
  if (cross.has_condition_number()) {
    out += paragraph(fmt::format("{} settled points from {}; condition number {:.1f}, 30 at most.", cross.points(),
                                 word(cross.source()), cross.condition_number()),
                     "note");
  }
  return out;
}

std::string return_remark(const proto::ReturnDrop& row) {
  if (!row.refusal().empty()) return row.refusal();
  if (!row.expected_refusal().empty()) return "not held against its wires: " + row.expected_refusal();
  return row.flagged() ? "more than wires and contacts explain, in one of: " +
                             fmt::format("{}", fmt::join(row.connectors(), ", "))
                       : "";
}

std::string drop_table(const proto::SessionResult& result) {
  Rows rows;
  for (const proto::ReturnDrop& row : result.return_drops()) {
    const bool told = row.refusal().empty();
    rows.push_back({{row.channel()},
                    {told ? millivolts(row.value()) : "", "number"},
                    {told ? millivolts(row.expanded_uncertainty()) : "", "number"},
                    {told ? figure(row.load_a(), 1, "A") : "", "number"},
                    {told ? fmt::format("{:.1f} to {:.1f} mV", 1e3 * row.least(), 1e3 * row.most()) : "", "number"},
                    {row.has_slope() ? fmt::format("{:.2f} mohm ({:.2f} to {:.2f})", 1e3 * row.slope(),
                                                   1e3 * row.slope_low(), 1e3 * row.slope_high())
                                     : "",
                     "number"},
                    {row.has_expected_most() ? fmt::format("{:.2f} mohm", 1e3 * row.expected_most()) : "", "number"},
                    {return_remark(row)}});
  }
  return table({"return", "drop at the greatest load", "U (k = 2)", "load", "all settled levels",
                "for each ampere (95 %)", "at most, as described", "remark"},
               rows);
}

std::string burden_lines(const proto::SessionResult& result) {
  std::vector<std::string> lines;
  for (const proto::JigBurden& row : result.jig_burdens()) {
    if (!row.refusal().empty()) {
      lines.push_back(fmt::format("{}: {}.", row.channel(), row.refusal()));
      continue;
    }
    lines.push_back(fmt::format("{}: the jig lowered this connector by {:.1f} ± {:.1f} mV at {:.1f} A.", row.channel(),
                                1e3 * row.value(), 1e3 * row.expanded_uncertainty(), row.current_a()));
  }
  return lines.empty() ? "" : bullets(lines);
}

}  // namespace

std::string resistance_section(const ReportInput& input) {
  const proto::SessionResult& result = *input.result;
  std::string out = titled("Output resistance", output_table(result));
  const std::string contacts = contact_table(result);
  out += titled("Cables and contacts", contacts);
  if (!contacts.empty()) {
    out += paragraph(
        "supply: the supply conductor alone, the return taken out by the ground-offset channels. supply-and-return: "
        "both, "
        "with what other loads drop in the shared returns. asymmetry: two plugs that share one current channel. "
        "Fitting "
        "the jig re-seats the plug: a contact that was bad before may read well here.",
        "note");
  }
  if (result.has_cross_regulation()) out += titled("Cross-regulation", cross_table(result.cross_regulation()));
  const std::string drops = drop_table(result);
  out += titled("Returns", drops);
  if (!drops.empty()) {
    out += paragraph(
        "Against the main connector's return. The returns meet at the board and at the card: this is what their shared "
        "network drops, and no plug's own resistance.",
        "note");
  }
  return out + titled("What the jig itself costs", burden_lines(result));
}

std::string ripple_section(const ReportInput& input) {
  Rows rows;
  for (const proto::RippleBound& row : input.result->ripple_bounds()) {
    const bool told = row.refusal().empty();
    rows.push_back(
        {{place(row.rail(), row.channel())},
         {told ? "at least " + millivolts(row.value()) : "", "number"},
         {told ? millivolts(row.expanded_uncertainty()) : "", "number"},
         {told ? millivolts(row.median_pp()) : "", "number"},
         {told ? millivolts(row.most_pp()) : "", "number"},
         {told ? millivolts(row.noise_pp()) : "", "number"},
         {fmt::format("{}", row.windows_read()), "number"},
         {row.has_mains_residue() ? fmt::format("{:.2f} mV at {:.0f} Hz, {:.1f} A", 1e3 * row.mains_residue(),
                                                2 * row.mains_hz(), row.mains_load_a())
                                  : "",
          "number"},
         {row.refusal()}});
  }
  const std::string body = table({"where", "peak to peak", "U (k = 2)", "median as read", "most", "noise alone",
                                  "windows of 20 ms", "line at twice the mains", "remark"},
                                 rows);
  if (body.empty()) return "";
  std::string note =
      "10 Hz to some kHz, in stretches where no measured load moved. The trade's limit is defined to 20 MHz: what lies "
      "above the jig's band is not excluded, and nothing here is a pass.";
  if (!input.result->ripple_bounds(0).note().empty()) note += " " + input.result->ripple_bounds(0).note() + ".";
  return body + paragraph(note, "note");
}

}  // namespace host::report
