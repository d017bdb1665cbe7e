// SPDX-License-Identifier: Apache-2.0
#include "host/detect/excursion_desk.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "host/detect/arm.h"
#include "host/detect/rule.h"

namespace host::detect {
namespace {

using steadyrail::proto::EventKind;
using steadyrail::proto::FigureSource;

constexpr std::size_t kWaitingMax = 4096;
constexpr std::size_t kChipSpansMax = 512;
constexpr std::size_t kOffSpansMax = 512;
constexpr std::uint64_t kAfterScans = 640;             // windows wanted after an event, for its rating and its drawing
constexpr double kChipPatienceS = 1.5;                 // the chip's word on a run may come this late
constexpr double kTriangularRoot = 2.449489742783178;  // sqrt(6): two ends, each within one scan

/// Adds [start, end) to the stretches; true when a new one begins there.
template <typename Spans>
bool extend(Spans& spans, std::uint64_t start, std::uint64_t end) {
  const bool fresh = spans.empty() || spans.back().end != start;
  if (fresh) spans.push_back({start, start});
  spans.back().end = end;
  if (spans.size() > kOffSpansMax) spans.pop_front();
  return fresh;
}

judge::Side side_of(steadyrail::proto::Side side) {
  return side == steadyrail::proto::SIDE_HIGH ? judge::Side::kHigh : judge::Side::kLow;
}

}  // namespace

ExcursionDesk::ExcursionDesk(const model::Jig& jig, const steadyrail::proto::LimitSet* limits, bool armed,
                             EventBook& book, const History& history, std::span<const judge::UnderRead> chains,
                             std::function<void(const Found&)> listed, BeyondStep beyond_step)
    : jig_(jig),
      armed_(armed && limits != nullptr),
      book_(book),
      history_(history),
      chains_(chains),
      listed_(std::move(listed)),
      beyond_step_(std::move(beyond_step)) {
  for (const auto& channel : jig.channels()) {
    const auto limit = limits == nullptr ? std::nullopt : judge::limit_for(*limits, channel);
    if (!limit) continue;
    for (judge::Side side : {judge::Side::kLow, judge::Side::kHigh}) {
      sided(channel.index, side).tracker = static_cast<int>(trackers_.size());
      trackers_.emplace_back(static_cast<std::uint8_t>(channel.index), channel.rail,
                             rule_in_codes(channel, side, limit->of(side)));
    }
  }
}

const ExcursionRule* ExcursionDesk::rule(std::size_t channel, judge::Side side) const {
  const int tracker = sided(channel, side).tracker;
  return tracker < 0 ? nullptr : &trackers_[static_cast<std::size_t>(tracker)].rule();
}

void ExcursionDesk::add(const Block& block) {
  if (block.on != block.all()) note_off(block);
  for (WindowRunTracker& tracker : trackers_) tracker.add(block, ended_);
  if (armed_ && block.armed_set == kArmedSet) count_beyond(block);
  collect();
  release(block.end());
}

void ExcursionDesk::collect() {
  for (const WindowRun& run : ended_) {
    Waiting waiting;
    waiting.run = true;
    waiting.window = run;
    waiting.found.channel = run.channel;
    waiting.found.side = run.side;
    waiting.found.source = FigureSource::FIGURE_SOURCE_WINDOW;
    waiting.found.truncated = run.truncated;
    waiting.found.start = run.start;
    waiting.found.end = run.end;
    // Where in its first and last window it began and ended is not known.
    const double window = run.window_scans;
    waiting.found.start_u_scans = window;
    waiting.found.duration_scans = run.windows == 1 ? window / 2 : static_cast<double>(run.end - run.start) - window;
    waiting.found.duration_u_scans = run.windows == 1 ? window / 2 : window;
    waiting.found.beyond_scans = armed_ && run.armed_set == kArmedSet ? static_cast<double>(run.beyond) : 0;
    waiting.found.place = {run.channel, run.extreme_window, run.extreme_window + run.window_scans, run.extreme};
    const double patience = armed_ ? kChipPatienceS * jig_.scan_rate_hz() : 0;
    waiting.due = run.end + std::max(kAfterScans, static_cast<std::uint64_t>(patience));
    wait(std::move(waiting));
  }
  ended_.clear();
}

void ExcursionDesk::note_off(const Block& block) {
  for (std::uint32_t i = 0; i < block.count; ++i) {
    const std::uint64_t start = block.start_of(i);
    if ((block.standby >> i & 1U) == 0) extend(standby_off_, start, start + block.scans);
    if ((block.on >> i & 1U) != 0) continue;
    scans_off_ += block.scans;
    if (extend(off_, start, start + block.scans)) ++stretches_off_;
  }
}

bool ExcursionDesk::meets_off(std::size_t channel, std::uint64_t start, std::uint64_t end) const {
  const bool standby = jig_.at(channel)->rail == steadyrail::proto::RAIL_P5VSB;
  return std::ranges::any_of(standby ? standby_off_ : off_,
                             [&](const Span& off) { return off.start < end && start < off.end; });
}

void ExcursionDesk::count_beyond(const Block& block) {
  for (const WindowRunTracker& tracker : trackers_) {
    if (!tracker.touches(block)) continue;
    const auto& columns = block.windows->channels[tracker.channel()];
    const auto& counts = tracker.rule().side == judge::Side::kLow ? columns.below : columns.above;
    std::uint64_t& sum = sided(tracker.channel(), tracker.rule().side).counted_beyond;
    for (std::uint32_t i = 0; i < block.count; ++i) sum += counts[i];
  }
}

void ExcursionDesk::chip(const steadyrail::proto::Excursion& event) {
  if (!armed_ || event.armed_set() != kArmedSet || event.channel() >= wire::kChannelCount) return;
  const judge::Side side = side_of(event.side());
  const auto* channel = jig_.at(event.channel());
  if (rule(event.channel(), side) == nullptr || channel == nullptr) return;
  if (event.end_scan() < event.start_scan() || event.end_scan() >= kScanMost) return;
  Waiting waiting;
  Found& found = waiting.found;
  found.channel = static_cast<std::uint8_t>(event.channel());
  found.side = side;
  found.source = FigureSource::FIGURE_SOURCE_CHIP;
  found.truncated = event.truncated();
  found.start = event.start_scan();
  found.end = event.end_scan();
  found.start_u_scans = 1;
  found.duration_scans = static_cast<double>(event.end_scan() - event.start_scan());
  found.duration_u_scans = 2 / kTriangularRoot;
  found.beyond_scans = found.duration_scans;
  found.area_vs = static_cast<double>(event.area_code_scans()) * channel->per_code / jig_.scan_rate_hz();
  const std::uint64_t at = std::clamp(event.extreme_scan(), event.start_scan(), event.end_scan());
  found.place = {channel->index, at, at + 1, std::clamp(event.extreme_code(), -32768, 32767)};
  waiting.due = event.end_scan() + kAfterScans;
  remember(event.channel(), side, event.start_scan(), event.end_scan());
  wait(std::move(waiting));
}

void ExcursionDesk::storm(const steadyrail::proto::Storm& event) {
  if (!armed_ || event.channel() >= wire::kChannelCount) return;
  const judge::Side side = side_of(event.side());
  if (rule(event.channel(), side) == nullptr || event.last_scan() < event.first_scan()) return;
  if (event.last_scan() >= kScanMost) return;
  Waiting waiting;
  Found& found = waiting.found;
  found.channel = static_cast<std::uint8_t>(event.channel());
  found.side = side;
  found.source = FigureSource::FIGURE_SOURCE_CHIP;
  found.start = event.first_scan();
  found.end = event.last_scan() + 1;
  found.start_u_scans = 1;
  found.duration_scans = static_cast<double>(found.end - found.start);
  found.beyond_scans = static_cast<double>(event.scans_beyond());
  found.storm_excursions = std::max(event.excursions(), 1U);
  found.note = fmt::format("storm of {} excursions, {} scans beyond the limit in all, not reported one by one",
                           event.excursions(), event.scans_beyond());
  found.place = {found.channel, found.start, found.end, std::clamp(event.extreme_code(), -32768, 32767)};
  waiting.due = event.last_scan() + kAfterScans;
  // All but the storm itself, which is listed as one.
  if (event.excursions() > 1) book_.count(EventKind::EVENT_KIND_EXCURSION, found.channel, event.excursions() - 1);
  remember(event.channel(), side, found.start, found.end);
  wait(std::move(waiting));
}

void ExcursionDesk::capture(const Capture& capture) {
  for (const WindowRunTracker& tracker : trackers_) {
    if (!capture.codes[tracker.channel()].empty()) sharpen(capture, tracker);
  }
}

void ExcursionDesk::sharpen(const Capture& capture, const WindowRunTracker& tracker) {
  // Without a scan beyond the limit it holds no excursion, nor an excursion's extreme.
  if (!tracker.touches(capture)) return;
  const model::JigChannel& channel = *jig_.at(tracker.channel());
  const auto place = static_cast<std::uint8_t>(channel.index);
  const auto look = [&](Found& found) {
    if (found.side != tracker.rule().side || found.shape.steepest) return;
    found.shape.steepest = steepest_near(capture, found.place, chains_[channel.index].reach_scans());
  };
  book_.visit(EventKind::EVENT_KIND_EXCURSION, place, capture.first, capture.end, look);
  for (Waiting& waiting : waiting_) {
    if (waiting.found.channel == place) look(waiting.found);
  }
  const auto& codes = capture.codes[channel.index];
  ExcursionTracker scans(tracker.rule());
  scans.feed(capture.first, std::vector<std::int32_t>(codes.begin(), codes.end()));
  scans.cut();
  for (const ScanExcursion& exact : scans.take()) {
    // One that reaches either end of the capture is longer than what was captured.
    if (exact.truncated || exact.start == capture.first) continue;
    const auto take = [&](Found& found) {
      const bool inside = exact.start >= found.start && exact.end <= found.end;
      if (found.side != tracker.rule().side || found.source != FigureSource::FIGURE_SOURCE_WINDOW || !inside) return;
      found.source = FigureSource::FIGURE_SOURCE_CAPTURE;
      found.start = exact.start;
      found.end = exact.end;
      found.start_u_scans = 1;
      found.duration_scans = static_cast<double>(exact.end - exact.start);
      found.duration_u_scans = 2 / kTriangularRoot;
      found.beyond_scans = exact.beyond;
      found.area_vs = static_cast<double>(exact.area) * channel.per_code / jig_.scan_rate_hz();
    };
    book_.visit(EventKind::EVENT_KIND_EXCURSION, place, exact.start, exact.end, take);
    for (Waiting& waiting : waiting_) {
      if (waiting.run && waiting.found.channel == place) take(waiting.found);
    }
  }
}

void ExcursionDesk::remember(std::size_t channel, judge::Side side, std::uint64_t start, std::uint64_t end) {
  Sided& here = sided(channel, side);
  ++here.chip_events;
  here.chip.push_back({start, end});
  if (here.chip.size() > kChipSpansMax) here.chip.pop_front();
}

void ExcursionDesk::wait(Waiting waiting) {
  // Beyond the bound the oldest goes out with what is known now.
  if (waiting_.size() >= kWaitingMax) {
    resolve(waiting_.front());
    waiting_.pop_front();
  }
  waiting_.push_back(std::move(waiting));
}

void ExcursionDesk::release(std::uint64_t reached) {
  std::erase_if(waiting_, [&](Waiting& waiting) {
    if (waiting.due > reached) return false;
    resolve(waiting);
    return true;
  });
}

void ExcursionDesk::gap() {
  for (WindowRunTracker& tracker : trackers_) tracker.cut(ended_);
}

void ExcursionDesk::finish() {
  gap();
  collect();
  release(UINT64_MAX);
}

bool ExcursionDesk::reported(const WindowRun& run) const {
  const auto& chip = sided(run.channel, run.side).chip;
  return std::ranges::any_of(chip, [&](const Span& span) {
    return span.start < run.end && run.start < span.end && !meets_off(run.channel, span.start, span.end);
  });
}

bool ExcursionDesk::worth_listing(Waiting& waiting) {
  // The chip does not know that the supply is off; what stood while it was on is in the windows' runs.
  if (!waiting.run) return !meets_off(waiting.found.channel, waiting.found.start, waiting.found.end);
  const WindowRun& run = waiting.window;
  const ExcursionRule& here = *rule(run.channel, run.side);
  const bool deep = run.side == judge::Side::kLow ? run.extreme <= *here.keep : run.extreme >= *here.keep;
  const bool watched = armed_ && run.armed_set == kArmedSet;
  if (watched && reported(run)) return false;
  // The chip drops what is both short and within the noise of the limit; windows alone cannot tell how short.
  const bool long_enough = watched && run.into_off && run.beyond >= here.least_scans;
  const bool keep = deep || long_enough || (!watched && run.mean_beyond);
  if (run.into_off) {
    waiting.found.note = "ended when the supply went off";
  } else if (watched && deep &&
             !meets_off(run.channel, run.start - std::min<std::uint64_t>(run.start, run.window_scans),
                        run.end + run.window_scans)) {
    ++sided(run.channel, run.side).unreported;
    waiting.found.note = "seen in windows, not reported by the chip";
  }
  if (!keep) book_.count_short(EventKind::EVENT_KIND_EXCURSION, run.channel, watched ? run.beyond : 0);
  return keep;
}

void ExcursionDesk::resolve(Waiting& waiting) {
  if (!worth_listing(waiting)) return;
  Found& found = waiting.found;
  const model::JigChannel& channel = *jig_.at(found.channel);
  const bool low = found.side == judge::Side::kLow;
  found.kind = EventKind::EVENT_KIND_EXCURSION;
  found.extreme = channel.value(found.place.code);
  const auto level = history_.level_before(found.channel, found.start);
  const double sign = low ? 1 : -1;
  const double limit = channel.value(rule(found.channel, found.side)->limit);
  // Without a window before it the depth counts from the limit: a lower bound.
  found.depth = std::max(0.0, sign * ((level ? channel.value(*level) : limit) - found.extreme));
  found.severity = sign * (limit - found.extreme);
  const std::uint64_t lead = 2 * wire::kScansPerBlock;
  const std::uint64_t from = found.start > lead ? found.start - lead : 0;
  found.within = history_.within(channel.rail, from, std::max(found.place.from, found.start) + 1);
  // A step explains what it leaves behind only as long as a rail may take to come back from it.
  if (beyond_step_(channel.rail, std::max(found.place.from, found.start), found.place.to) &&
      beyond_step_(channel.rail, std::max<std::uint64_t>(found.end, 1) - 1, found.end)) {
    found.within_step = steadyrail::proto::WITHIN_STEP_NO;
  }
  found.clipped = !low && found.place.code >= 32767;
  found.shape.span =
      span_round(history_, found.place, chains_[found.channel].reach_scans(), chains_[found.channel].reach_scans());
  found.judged = true;
  found.id = book_.add(found);
  if (found.id != 0) listed_(found);
}

std::vector<std::string> ExcursionDesk::contradictions() const {
  std::vector<std::string> words;
  for (const auto& channel : jig_.channels()) {
    for (judge::Side side : {judge::Side::kLow, judge::Side::kHigh}) {
      const Sided& here = sided(channel.index, side);
      const char* name = side == judge::Side::kLow ? "low" : "high";
      if (here.unreported > 0) {
        words.push_back(
            fmt::format("{}: {} excursions beyond the {} limit stand in the windows but were not reported by "
                        "the chip",
                        channel.name, here.unreported, name));
      }
      if (here.chip_events > 0 && armed_ && here.counted_beyond == 0) {
        words.push_back(
            fmt::format("{}: the chip reported {} excursions beyond the {} limit, but no window counts a scan "
                        "beyond it",
                        channel.name, here.chip_events, name));
      }
    }
  }
  return words;
}

}  // namespace host::detect
