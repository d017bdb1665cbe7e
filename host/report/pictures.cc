// SPDX-License-Identifier: Apache-2.0
#include "host/report/pictures.h"

#include <algorithm>
#include <cctype>
#include <map>
#include <optional>
#include <vector>

#include <fmt/format.h>

#include "host/report/answer.h"
#include "host/report/chart.h"
#include "host/report/markup.h"
#include "host/report/summary.h"
#include "host/report/words.h"

namespace host::report {
namespace {

namespace proto = steadyrail::proto;

constexpr std::size_t kEventsDrawnMax = 12;
constexpr std::size_t kOverviewsMax = 20;

/// The limit an event of a channel is seen against: that of the channel's verdict on the same side.
std::optional<DrawnLimit> limit_of(const proto::SessionResult& result, const proto::EventResult& event) {
  for (const proto::Verdict& verdict : result.verdicts()) {
    if (verdict.channel() == event.channel() && verdict.side() == event.side() && verdict.limit() != 0) {
      return DrawnLimit{verdict.limit(), event.expanded_uncertainty_v()};
    }
  }
  return std::nullopt;
}

std::string caption(const proto::EventResult& event, const proto::Waveform& wave) {
  std::string text = fmt::format("{} on {}, {} into the session", word(event.kind()),
                                 place(event.rail(), event.channel()), moment(event.start_s()));
  if (event.duration_s() > 0) text += fmt::format(", lasting {}", time_span(event.duration_s()));
  if (event.decision() != proto::DECISION_NOT_TESTED) text += ": " + word(event.decision());
  if (event.truncated()) text += " (cut short by a hole in the record)";
  // "load-step on ..." begins a sentence here.
  text[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(text[0])));
  text += wave.source() == proto::FIGURE_SOURCE_CAPTURE
              ? ". Every scan is drawn. "
              : fmt::format(". Drawn from windows of {}: grey reaches from the lowest to the highest value of each. ",
                            time_span(wave.step_s()));
  return text + "Times are from the start of the event; the bar under the scale is its length.";
}

struct DrawnEvent {
  const proto::EventResult* event = nullptr;
  std::string figure;
};

/// Pictures of the worst events, worst first.
std::vector<DrawnEvent> drawn_events(const ReportInput& input) {
  std::vector<DrawnEvent> out;
  if (input.drawings == nullptr) return out;
  std::map<std::uint32_t, const proto::Waveform*> waves;
  for (const proto::Waveform& wave : input.drawings->waveforms()) waves.emplace(wave.event_id(), &wave);
  for (const proto::EventResult* event :
       worst_events(*input.result, static_cast<std::size_t>(input.result->events_size()))) {
    if (out.size() == kEventsDrawnMax) break;
    const auto wave = waves.find(event->event_id());
    if (wave == waves.end()) continue;
    const std::string picture = waveform_svg(*wave->second, *event, limit_of(*input.result, *event));
    if (picture.empty()) continue;
    out.push_back({event, "<figure>\n" + picture + "<figcaption>" + paragraph(caption(*event, *wave->second)) +
                              "</figcaption></figure>\n"});
  }
  return out;
}

bool stands_in_answer(const std::vector<DrawnEvent>& drawn) {
  return !drawn.empty() && drawn.front().event->decision() == proto::DECISION_FAIL;
}

/// Place of a channel among the overviews; nothing: not drawn.
std::optional<int> overview_rank(const ReportInput& input, const std::string& channel) {
  std::optional<int> rank;
  for (const proto::Verdict& verdict : input.result->verdicts()) {
    if (verdict.channel() != channel) continue;
    rank = std::min(rank.value_or(1), verdict.decision() == proto::DECISION_FAIL ? 0 : 1);
  }
  if (rank || input.jig == nullptr) return rank.value_or(2);
  for (const proto::Channel& candidate : input.jig->channels()) {
    if (candidate.name() != channel) continue;
    if (candidate.kind() == proto::CHANNEL_KIND_RAIL_VOLTAGE) return 2;
    if (candidate.kind() == proto::CHANNEL_KIND_CURRENT) return 3;
  }
  return std::nullopt;
}

std::string overview_figure(const ReportInput& input, const proto::Overview& overview) {
  std::vector<double> limits;
  for (const proto::Verdict& verdict : input.result->verdicts()) {
    if (verdict.channel() == overview.channel() && verdict.limit() != 0) limits.push_back(verdict.limit());
  }
  const std::string picture = overview_svg(overview, limits, input.result->coverage());
  if (picture.empty()) return "";
  return "<figure class=\"strip\"><figcaption>" + paragraph(overview.channel()) + "</figcaption>\n" + picture +
         "</figure>\n";
}

}  // namespace

std::string answer_figure(const ReportInput& input) {
  const std::vector<DrawnEvent> drawn = drawn_events(input);
  return stands_in_answer(drawn) ? drawn.front().figure : "";
}

std::string event_figures(const ReportInput& input) {
  const std::vector<DrawnEvent> drawn = drawn_events(input);
  const bool first_is_above = stands_in_answer(drawn);
  std::string out = first_is_above ? paragraph("The worst event is drawn with the answer.") : "";
  for (std::size_t i = first_is_above ? 1 : 0; i < drawn.size(); ++i) out += drawn[i].figure;
  return out;
}

std::string overview_figures(const ReportInput& input) {
  if (input.drawings == nullptr) return "";
  std::vector<std::pair<int, int>> order;  // rank, place among the overviews
  for (int i = 0; i < input.drawings->overviews_size(); ++i) {
    if (const auto rank = overview_rank(input, input.drawings->overviews(i).channel())) order.emplace_back(*rank, i);
  }
  std::ranges::sort(order);
  std::string out;
  for (std::size_t i = 0; i < std::min(order.size(), kOverviewsMax); ++i)
    out += overview_figure(input, input.drawings->overviews(order[i].second));
  if (out.empty()) return "";
  return paragraph(
             "Each channel over the whole session, lowest to highest value of every stretch. A dashed line is a "
             "limit; hatching is a hole.") +
         out;
}

}  // namespace host::report
