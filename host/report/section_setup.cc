// SPDX-License-Identifier: Apache-2.0
// What was measured, with what, against which limits.
#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "host/model/jig.h"
#include "host/report/markup.h"
#include "host/report/sections.h"
#include "host/report/words.h"

namespace host::report {
namespace {

namespace proto = steadyrail::proto;

std::string amps(double value) {
  return value > 0 ? fmt::format("{:g} A", value) : "";
}
std::string watts(double value) {
  return value > 0 ? fmt::format("{:g} W", value) : "";
}

std::string joined(const auto& items) {
  std::string out;
  for (const auto& item : items) out += (out.empty() ? "" : ", ") + std::string(item);
  return out;
}

std::string rating_table(const proto::Unit& unit) {
  std::vector<std::vector<Cell>> rows;
  for (const proto::RailRating& rail : unit.rails()) {
    const std::string name(model::rail_label(rail.rail()));
    rows.push_back({{name}, {"whole rail"}, {rail.amps() > 0 ? amps(rail.amps()) : "not printed"}, {""}});
    for (const proto::SubRail& sub : rail.sub_rails()) {
      rows.push_back({{name}, {sub.name()}, {amps(sub.amps())}, {joined(sub.connectors())}});
    }
  }
  for (const proto::CombinedLimit& combined : unit.combined()) {
    std::vector<std::string> names;
    for (const int rail : combined.rails()) names.emplace_back(model::rail_label(static_cast<proto::Rail>(rail)));
    rows.push_back({{joined(names)}, {"combined"}, {watts(combined.watts())}, {""}});
  }
  return table({"rail", "part", "label allows", "connectors"}, rows);
}

/// Share that passes a chain of one-pole filters at `hz`.
double passed(const auto& pole_hz, double hz) {
  double share = 1;
  for (const double pole : pole_hz) share /= std::sqrt(1 + hz / pole * (hz / pole));
  return share;
}

/// -3 dB frequency of a chain of one-pole filters, by halving.
double corner_hz(const auto& pole_hz) {
  double low = 0;
  double high = *std::ranges::max_element(pole_hz);
  for (int step = 0; step < 60; ++step) {
    const double middle = (low + high) / 2;
    (passed(pole_hz, middle) > std::sqrt(0.5) ? low : high) = middle;
  }
  return low;
}

/// What the analogue chain of the +12 V channels lets through, computed from the description.
std::vector<std::string> bandwidth(const ReportInput& input) {
  std::vector<std::string> out;
  constexpr double kRippleHz = 100e3;  // switching ripple of a common supply, order of magnitude; common practice
  const proto::JigDescription& jig = *input.jig;
  const auto channel = std::ranges::find_if(jig.channels(), [](const proto::Channel& candidate) {
    return candidate.rail() == proto::RAIL_P12V && candidate.kind() == proto::CHANNEL_KIND_RAIL_VOLTAGE &&
           !candidate.pole_hz().empty() && std::ranges::all_of(candidate.pole_hz(), [](double hz) { return hz > 0; });
  });
  if (channel != jig.channels().end() && jig.scan_rate_hz() > 0) {
    const double rate = jig.scan_rate_hz();
    const double alias = std::abs(kRippleHz - std::round(kRippleHz / rate) * rate);
    out.push_back(fmt::format(
        "+12V channels are -3 dB at {:.1f} kHz; ripple of 100 kHz arrives {:.0f} dB down and shows "
        "at {:.1f} kHz, where it is not.",
        corner_hz(channel->pole_hz()) / 1e3, -20 * std::log10(passed(channel->pole_hz(), kRippleHz)), alias / 1e3));
  }
  for (const UnderRead& dip : input.under_reads) {
    out.push_back(fmt::format("A dip of {} shows at least {:.1f} % of its true depth.", time_span(dip.width_s),
                              std::floor(dip.worst_fraction * 1000) / 10));
  }
  return out;
}

std::string uncalibrated(const proto::JigDescription& jig) {
  std::vector<std::string> names;
  for (const proto::Channel& channel : jig.channels()) {
    const bool found = std::ranges::any_of(jig.calibration().channels(), [&](const proto::ChannelCalibration& entry) {
      return entry.channel() == channel.name();
    });
    if (!found) names.push_back(channel.name());
  }
  return joined(names);
}

}  // namespace

std::string unit_section(const ReportInput& input) {
  const proto::SessionFacts& session = input.result->session();
  std::string out;
  if (!session.question().empty()) out += paragraph("\"" + session.question() + "\"", "question");
  std::vector<std::pair<std::string, std::string>> pairs{{"Unit", session.unit_id()}};
  if (input.unit != nullptr) {
    const proto::Unit& unit = *input.unit;
    pairs.emplace_back("Edition its label claims", unit.edition());
    pairs.emplace_back("Total on the label",
                       unit.total_w() > 0 ? fmt::format("{} {}", watts(unit.total_w()), unit.total_condition()) : "");
    pairs.emplace_back("Notes", unit.notes());
  }
  pairs.emplace_back("Simulated scenario",
                     input.result->simulated() ? fmt::format("{}, seed {}", session.scenario(), session.seed()) : "");
  out += facts(pairs);
  if (input.unit != nullptr) out += rating_table(*input.unit);
  return out;
}

std::string channels_section(const ReportInput& input) {
  if (input.jig == nullptr) return "";
  std::vector<std::vector<Cell>> rows;
  for (const proto::Channel& channel : input.jig->channels()) {
    rows.push_back({{fmt::format("{}", channel.index()), "number"},
                    {channel.input()},
                    {channel.name()},
                    {word(channel.kind())},
                    {std::string(model::rail_label(channel.rail()))},
                    {channel.connector()},
                    {channel.current_channel()}});
  }
  std::string out = table({"channel", "input", "name", "kind", "rail", "connector", "its current"}, rows);
  if (!input.hook_up.empty()) out += "<h3>Hook-up order</h3>\n" + paragraph(input.hook_up);
  if (input.jig->not_measured_size() > 0) {
    out += "<h3>Not measured</h3>\n" +
           bullets(std::vector<std::string>(input.jig->not_measured().begin(), input.jig->not_measured().end()));
  }
  return out;
}

std::string jig_section(const ReportInput& input) {
  const proto::SessionFacts& session = input.result->session();
  std::vector<std::pair<std::string, std::string>> pairs{{"Jig", session.jig_id()},
                                                         {"Firmware", session.firmware()},
                                                         {"Boot", fmt::format("{}", session.boot())},
                                                         {"Calibration in the jig", session.calibration_id()},
                                                         {"Calibration in doubt", session.calibration_doubt()}};
  std::string out;
  if (input.jig == nullptr) return facts(pairs);
  const proto::JigDescription& jig = *input.jig;
  const proto::Calibration& calibration = jig.calibration();
  pairs.emplace_back("Build", jig.build());
  pairs.emplace_back("Scan rate", fmt::format("{} scans a second, all channels at once", jig.scan_rate_hz()));
  pairs.emplace_back("Calibration", calibration.id().empty() ? "none" : calibration.id());
  pairs.emplace_back("Calibrated", calibration.date());
  pairs.emplace_back("Due", calibration.due());
  pairs.emplace_back("Reference", calibration.reference());
  out = facts(pairs) + bullets(bandwidth(input));
  const std::string without = uncalibrated(jig);
  if (!without.empty()) out += paragraph("Without calibration, and deciding nothing: " + without + ".");
  return out + paragraph(
                   "The jig sits in series: its shunts and extra contacts lower each connector a little, and fitting "
                   "it re-seats the plugs. This session does not hold a measurement of either.");
}

std::string edition_section(const ReportInput& input) {
  if (input.limits == nullptr) {
    return paragraph("No limit edition was named. Events are relative to the session itself, and nothing was judged.");
  }
  const proto::LimitSet& set = *input.limits;
  std::string out = facts({{"Edition", set.edition()},
                           {"Title", set.title()},
                           {"Document", set.document()},
                           {"Applies at", set.applies_at()}});
  std::vector<std::vector<Cell>> rows;
  for (const proto::RegulationLimit& limit : set.regulation()) {
    rows.push_back({{limit.output().empty() ? std::string(model::rail_label(limit.rail())) : limit.output()},
                    {joined(limit.connectors())},
                    {figure(static_cast<double>(limit.least_uv()) * 1e-6, 3, "V"), "number"},
                    {figure(static_cast<double>(limit.most_uv()) * 1e-6, 3, "V"), "number"},
                    {limit.table()},
                    {word(limit.status())},
                    {limit.note()}});
  }
  out += table({"output", "connectors", "least", "most", "table", "status", "note"}, rows);
  const proto::RequiredCoverage& required = set.required();
  if (required.scans_share() > 0) {
    out +=
        paragraph(fmt::format("Required before a limit is decided: {:g} % of the scans, {:g} s of settled means; for "
                              "droop {} load steps each way.",
                              required.scans_share() * 100, required.settled_mean_s(), required.steps_each_way()));
  }
  return out;
}

}  // namespace host::report
