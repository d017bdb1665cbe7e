// SPDX-License-Identifier: Apache-2.0
#include "host/report/summary.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>
#include <tuple>

#include <fmt/format.h>

#include "host/report/answer.h"
#include "host/report/escape.h"
#include "host/report/words.h"

namespace host::report {
namespace {

namespace proto = steadyrail::proto;

constexpr std::size_t kEventsOnTerminalMax = 8;
constexpr int kGapsOnTerminalMax = 5;

/// Characters a terminal shows for `text`: code points, which is enough for the signs used here.
std::size_t columns(std::string_view text) {
  return static_cast<std::size_t>(
      std::ranges::count_if(text, [](char letter) { return (static_cast<unsigned char>(letter) & 0xC0) != 0x80; }));
}

std::string padded(const std::string& text, std::size_t width) {
  const std::size_t shown = columns(text);
  return shown >= width ? text : text + std::string(width - shown, ' ');
}

int rank(proto::Decision decision) {
  switch (decision) {
    case proto::DECISION_FAIL:
      return 0;
    case proto::DECISION_UNDECIDED:
      return 1;
    default:
      return 2;
  }
}

/// Load steps and droops are how a load behaves; excursions, sags and the rest are what a reader looks for first.
int rank(proto::EventKind kind) {
  return kind == proto::EVENT_KIND_LOAD_STEP ? 2 : kind == proto::EVENT_KIND_DROOP ? 1 : 0;
}

/// Limits of a result by channel and side.
using Limits = std::map<std::pair<std::string, std::string>, double>;

Limits limits_of(const proto::SessionResult& result) {
  Limits limits;
  for (const proto::Verdict& verdict : result.verdicts()) {
    if (verdict.limit() != 0) limits.emplace(std::pair(verdict.channel(), verdict.side()), verdict.limit());
  }
  return limits;
}

/// How far an event lies beyond its channel's limit, as a share of it; 0 where there is none.
double beyond(const proto::EventResult& event, const Limits& limits) {
  const auto limit = limits.find(std::pair(event.channel(), event.side()));
  if (limit == limits.end()) return 0;
  const double distance =
      event.side() == "high" ? event.extreme_v() - limit->second : limit->second - event.extreme_v();
  return distance / std::abs(limit->second);
}

std::string verdict_table(const proto::SessionResult& result) {
  std::vector<std::vector<std::string>> rows;
  for (const proto::Verdict& verdict : result.verdicts()) {
    if (!is_counted(verdict)) continue;
    const bool judged = has_value(verdict);
    rows.push_back({verdict.rail(), verdict.channel(), word(verdict.quantity()),
                    judged ? quantity(verdict.value(), verdict.expanded_uncertainty(), verdict.unit()) : "-",
                    judged ? fmt::format("{} {}", verdict.side() == "high" ? "at most" : "at least",
                                         quantity(verdict.limit(), 0, verdict.unit()))
                           : "-",
                    word(verdict.decision()), verdict.reason()});
  }
  return text_table({"rail", "channel", "quantity", "value", "limit", "decision", "why"}, rows);
}

std::string event_table(const proto::SessionResult& result) {
  std::vector<std::vector<std::string>> rows;
  for (const proto::EventResult* event : worst_events(result, kEventsOnTerminalMax)) {
    const bool load = event->kind() == proto::EVENT_KIND_LOAD_STEP;
    rows.push_back({moment(event->start_s()), word(event->kind()), event->channel(),
                    load ? figure(event->step_a(), 2, "A")
                    : is_timed(event->kind())
                        ? "-"
                        : with_uncertainty(event->extreme_v(), event->expanded_uncertainty_v(), "V"),
                    load                            ? "-"
                    : event->storm_excursions() > 0 ? fmt::format("storm of {}", event->storm_excursions())
                    : event->duration_s() > 0       ? time_span(event->duration_s())
                                                    : "-",
                    word(event->source()), word(event->decision())});
  }
  return text_table({"start", "kind", "channel", "extreme", "duration", "source", "decision"}, rows);
}

std::string coverage_lines(const proto::SessionResult& result) {
  const proto::Coverage& coverage = result.coverage();
  std::string out = fmt::format("Coverage: {} of {} seen ({}), {} damaged, {} discarded, {}.\n",
                                percent_of(coverage.scans_seen(), coverage.scans_expected()),
                                counted(coverage.scans_expected(), "scan"), time_span(result.session().duration_s()),
                                counted(coverage.frames_damaged(), "frame"),
                                counted(coverage.bytes_discarded(), "byte"), counted(coverage.gaps_total(), "gap"));
  for (int i = 0; i < std::min(coverage.gaps_size(), kGapsOnTerminalMax); ++i) {
    const proto::Gap& gap = coverage.gaps(i);
    out += fmt::format("  gap {} to {}: {}\n", moment(gap.start_s()), moment(gap.end_s()), word(gap.cause()));
  }
  if (coverage.gaps_total() > static_cast<std::uint64_t>(kGapsOnTerminalMax)) {
    out += fmt::format("  and {} more\n", coverage.gaps_total() - kGapsOnTerminalMax);
  }
  return out;
}

}  // namespace

bool is_timed(proto::EventKind kind) {
  return kind == proto::EVENT_KIND_TIMING || kind == proto::EVENT_KIND_SEQUENCE || kind == proto::EVENT_KIND_SHUTDOWN ||
         kind == proto::EVENT_KIND_LINE_PULSE || kind == proto::EVENT_KIND_MAINS_LOSS;
}

std::string text_table(const std::vector<std::string>& header, const std::vector<std::vector<std::string>>& rows) {
  std::vector<std::size_t> widths;
  widths.reserve(header.size());
  for (const std::string& cell : header) widths.push_back(columns(cell));
  std::vector<std::vector<std::string>> cells;
  for (const auto& row : rows) {
    cells.emplace_back();
    for (std::size_t i = 0; i < header.size(); ++i) {
      cells.back().push_back(i < row.size() ? terminal(row[i]) : "");
      widths[i] = std::max(widths[i], columns(cells.back()[i]));
    }
  }
  std::string out;
  const auto put = [&](const std::vector<std::string>& row) {
    std::string line = " ";
    for (std::size_t i = 0; i < row.size(); ++i) line += " " + padded(row[i], widths[i]) + " ";
    line.erase(line.find_last_not_of(' ') + 1);
    out += line + '\n';
  };
  put(header);
  for (const auto& row : cells) put(row);
  return out;
}

std::vector<const proto::EventResult*> worst_events(const proto::SessionResult& result, std::size_t count_max) {
  std::vector<int> order(static_cast<std::size_t>(result.events_size()));
  std::iota(order.begin(), order.end(), 0);
  const Limits limits = limits_of(result);
  const auto key = [&](int index) {
    const proto::EventResult& event = result.events(index);
    return std::tuple(rank(event.decision()), rank(event.kind()), -beyond(event, limits), -event.depth_v(),
                      event.start_s(), index);
  };
  std::ranges::sort(order, {}, key);
  if (order.size() > count_max) order.resize(count_max);
  std::vector<const proto::EventResult*> events;
  events.reserve(order.size());
  for (const int index : order) events.push_back(&result.events(index));
  return events;
}

std::string text_summary(const proto::SessionResult& result) {
  const Answer said = answer(result);
  std::string out;
  if (result.simulated()) out += "SIMULATED: no real supply was measured.\n";
  out += terminal(said.headline) + "\n";
  if (!said.conclusion.empty()) out += terminal(said.conclusion) + "\n";
  out += "Asked: " + terminal(said.asked) + "\n";
  for (const std::string& line : said.found) out += "  " + terminal(line) + "\n";
  const std::string tag = result.simulated() ? ", simulated" : "";
  if (!result.verdicts().empty()) {
    out += fmt::format("\nVerdicts{}, {}\n", tag, result.edition().empty() ? "no edition" : terminal(result.edition()));
    out += verdict_table(result);
  }
  if (!result.events().empty()) {
    out += fmt::format("\nWorst events{}\n", tag) + event_table(result);
    if (result.events_size() > static_cast<int>(kEventsOnTerminalMax)) {
      out += fmt::format("  and {} more\n", result.events_size() - static_cast<int>(kEventsOnTerminalMax));
    }
  }
  out += '\n' + coverage_lines(result);
  for (const std::string& line : said.rests_on) out += "The conclusion rests on: " + terminal(line) + "\n";
  for (const std::string& line : said.next_steps) out += "Next: " + terminal(line) + "\n";
  for (const std::string& line : said.not_tested) out += terminal(line) + "\n";
  for (const std::string& remark : result.remarks()) out += "Remark: " + terminal(remark) + "\n";
  return out;
}

}  // namespace host::report
