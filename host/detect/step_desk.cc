// SPDX-License-Identifier: Apache-2.0
#include "host/detect/step_desk.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace host::detect {
namespace {

using steadyrail::proto::EventKind;
using steadyrail::proto::FigureSource;

constexpr std::size_t kRecentMost = 1024;
constexpr std::size_t kWaitingMost = 1024;
constexpr std::size_t kCapturedMost = 64;
constexpr int kChannelsMost = wire::kChannelCount;
// Games step every 5 to 12 ms: what must be free of other steps for each figure (scans at 32 kS/s).
constexpr std::uint64_t kFreeBefore = 32;
constexpr std::uint64_t kFreeForMinimum = 64;
constexpr std::uint64_t kFreeForShift = 128;
constexpr std::uint64_t kLookScans = 320;
constexpr std::uint32_t kFineWindow = 64;  // longer windows would mix other steps into a deviation
constexpr double kLeastStepA = 1;

}  // namespace

StepDesk::StepDesk(const model::Jig& jig, EventBook& book, const History& history,
                   std::span<const judge::UnderRead> chains, const judge::SpecifiedSteps& specified,
                   std::function<void(const Found&)> listed,
                   std::function<bool(std::size_t, std::uint64_t, std::uint64_t)> off)
    : jig_(jig),
      book_(book),
      history_(history),
      chains_(chains),
      specified_(specified),
      listed_(std::move(listed)),
      off_(std::move(off)),
      beyond_(jig, specified),
      steps_(jig) {}

void StepDesk::step(const steadyrail::proto::LoadStep& event) {
  const auto* channel = event.channel() < wire::kChannelCount ? jig_.at(event.channel()) : nullptr;
  if (channel == nullptr || channel->kind != steadyrail::proto::CHANNEL_KIND_CURRENT) return;
  if (event.scan() >= kScanMost) return;
  const double step_a = channel->per_code * event.step_code_16() / 16.0;
  // t50 is sent as its distance from 128 scans before the step.
  const double offset = std::min(event.t50_offset_256(), 65535U) / 256.0 - 128;
  const BeyondSteps::Judged judged = beyond_.step(channel->index, event.scan(), step_a);
  steps_.step(channel->index, step_a, judged);
  recent_.push_back({event.step_id(), channel->index, event.scan(), offset, step_a, judged});
  if (recent_.size() > kRecentMost) recent_.pop_front();
  Found found;
  found.kind = EventKind::EVENT_KIND_LOAD_STEP;
  found.channel = static_cast<std::uint8_t>(channel->index);
  found.source = FigureSource::FIGURE_SOURCE_CHIP;
  found.start = event.scan();
  found.end = event.scan() + 1;
  found.start_s_offset = offset;
  found.start_u_scans = 0.5;
  found.step_a = step_a;
  found.within_step = judged.within;
  found.specified_step_a = judged.specified_a;
  found.severity = std::abs(step_a);
  if (event.from_gate()) found.note = "made by the jig's load gate";
  book_.add(found);
}

void StepDesk::settled(const steadyrail::proto::SettledMeans& event) {
  // The newest first: means follow their step within milliseconds.
  const auto step =
      std::find_if(recent_.rbegin(), recent_.rend(), [&](const Step& one) { return one.id == event.step_id(); });
  if (step == recent_.rend() || event.after_scan() <= step->scan || event.before_scan() >= step->scan) return;
  if (event.after_scan() >= kScanMost) return;
  Waiting waiting{.step = *step, .after_scan = event.after_scan()};
  const auto told = std::min({event.before_code_8_size(), event.after_code_8_size(), kChannelsMost});
  waiting.channels = static_cast<std::size_t>(told);
  std::copy_n(event.before_code_8().begin(), told, waiting.before_code_8.begin());
  std::copy_n(event.after_code_8().begin(), told, waiting.after_code_8.begin());
  waiting_.push_back(waiting);
  if (waiting_.size() > kWaitingMost) {
    resolve(waiting_.front());
    waiting_.pop_front();
  }
}

void StepDesk::add(const Block& block) {
  while (!waiting_.empty() && waiting_.front().after_scan + kFreeForMinimum <= block.end()) {
    resolve(waiting_.front());
    waiting_.pop_front();
  }
}

void StepDesk::restarted() {
  recent_.clear();
  waiting_.clear();
  beyond_.restarted();
}

void StepDesk::finish() {
  for (const Waiting& waiting : waiting_) resolve(waiting);
  waiting_.clear();
}

void StepDesk::resolve(const Waiting& waiting) {
  const Step& step = waiting.step;
  const double sign = step.step_a > 0 ? 1 : -1;
  for (const auto& channel : jig_.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE || channel.current != step.current) continue;
    if (channel.index >= waiting.channels) continue;
    const double before = channel.value(waiting.before_code_8[channel.index] / 8.0);
    const double after = channel.value(waiting.after_code_8[channel.index] / 8.0);
    StepFigures figures{.step_a = step.step_a, .shift = sign * (before - after)};
    double extreme = after;
    Place place{.channel = channel.index};
    bool fine = false;
    // The window that holds the step begins before it, where the load was lighter: its extreme is still the step's.
    history_.visit(step.scan, waiting.after_scan, [&](const History::Window& window) {
      fine = window.scans <= kFineWindow;
      const double here =
          channel.value(sign > 0 ? history_.low(window, channel.index) : history_.high(window, channel.index));
      if (sign * here >= sign * extreme) return;
      extreme = here;
      place.from = window.start;
      place.to = window.end();
    });
    if (fine) {
      figures.deviation = sign * (before - extreme);
      figures.undershoot = sign * (after - extreme);
    }
    steps_.figures(channel.index, FigureSource::FIGURE_SOURCE_WINDOW, figures);
    const bool captured = std::ranges::any_of(captured_, [&](const Captured& one) {
      return one.voltage == channel.index && one.scan + kFreeForMinimum > step.scan &&
             one.scan < step.scan + kFreeForMinimum;
    });
    if (captured || !fine) continue;
    Found found;
    found.kind = EventKind::EVENT_KIND_DROOP;
    found.channel = static_cast<std::uint8_t>(channel.index);
    found.side = sign > 0 ? judge::Side::kLow : judge::Side::kHigh;
    found.source = FigureSource::FIGURE_SOURCE_WINDOW;
    found.start = step.scan;
    found.end = waiting.after_scan;
    found.start_s_offset = step.offset;
    found.start_u_scans = 0.5;
    found.duration_scans = static_cast<double>(found.end - found.start);
    found.duration_u_scans = found.duration_scans;
    found.extreme = extreme;
    found.place = place;
    if (place.to > 0)
      found.shape.span =
          span_round(history_, place, chains_[channel.index].reach_scans(), chains_[channel.index].reach_scans());
    found.depth = *figures.deviation;
    found.step_a = step.step_a;
    found.deviation = figures.deviation;
    found.undershoot = figures.undershoot;
    found.settled_shift = figures.shift;
    found.within_step = step.judged.within;
    found.specified_step_a = step.judged.specified_a;
    found.within = history_.within(channel.rail, found.start, found.end);
    found.severity = *figures.deviation;
    list(std::move(found));
  }
}

std::vector<StepDesk::Placed> StepDesk::steps_in(const Capture& capture, steadyrail::proto::Rail rail) {
  std::vector<Placed> placed;
  for (const auto& channel : jig_.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_CURRENT || channel.rail != rail) continue;
    const auto& codes = capture.codes[channel.index];
    if (codes.empty()) continue;
    if ((capture.high[channel.index] - capture.low[channel.index]) * channel.per_code < kLeastStepA) continue;
    for (const ScanStep& step :
         find_steps(values(channel, codes), {.least = kLeastStepA, .sigma = channel.noise_rms})) {
      placed.push_back({channel.index, step, static_cast<std::uint64_t>(std::max(step.t10, 0.0))});
    }
  }
  std::ranges::sort(placed, {}, &Placed::begins);
  return placed;
}

std::span<const double> StepDesk::values(const model::JigChannel& channel, std::span<const std::int16_t> codes) {
  values_.resize(codes.size());
  for (std::size_t i = 0; i < codes.size(); ++i) values_[i] = channel.value(codes[i]);
  return values_;
}

void StepDesk::capture(const Capture& capture) {
  for (std::size_t rail = 1; rail < judge::kRailCount; ++rail) {
    const std::vector<Placed> placed = steps_in(capture, static_cast<steadyrail::proto::Rail>(rail));
    for (std::size_t i = 0; i < placed.size(); ++i) {
      tell_slew(capture, placed[i]);
      const bool free = i == 0 || placed[i - 1].begins + kFreeBefore < placed[i].begins;
      if (!free) continue;
      std::uint64_t next = std::min(placed[i].begins + kLookScans, capture.end - capture.first);
      if (i + 1 < placed.size()) next = std::min(next, placed[i + 1].begins);
      if (next < placed[i].begins + kFreeForMinimum) continue;
      for (const auto& channel : jig_.channels()) {
        if (channel.kind != steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE || channel.current != placed[i].current)
          continue;
        if (!capture.codes[channel.index].empty()) measure(capture, channel.index, placed[i], next);
      }
    }
  }
}

void StepDesk::tell_slew(const Capture& capture, const Placed& placed) {
  const std::uint64_t at = capture.first + placed.step.at;
  const std::uint64_t from = at > kFreeBefore ? at - kFreeBefore : 0;
  book_.visit(EventKind::EVENT_KIND_LOAD_STEP, static_cast<std::uint8_t>(placed.current), from, at + kFreeBefore,
              [&](Found& listed) {
                if (listed.slew || *listed.step_a * placed.step.step < 0) return;
                listed.slew = Found::Slew{slew(placed.step, jig_.scan_rate_hz()), placed.step.slew_is_bound};
                listed.within_step = with_slew(placed.current, listed.within_step, *listed.slew);
              });
}

void StepDesk::measure(const Capture& capture, std::size_t voltage, const Placed& placed, std::uint64_t next) {
  const model::JigChannel& channel = *jig_.at(voltage);
  // Of the capture only what is looked at.
  const std::uint64_t lead = std::min<std::uint64_t>(placed.begins, kDroopLeadScans);
  const std::uint64_t first = placed.begins - lead;
  const auto volts = values(channel, std::span(capture.codes[voltage]).subspan(first, next - first));
  const double band = std::max(kRecoveryBandShare * std::abs(model::rail_nominal_v(channel.rail)),
                               kRecoveryBandSigmas * channel.noise_rms);
  const bool rising = placed.step.step > 0;
  const auto droop = measure_droop(volts, lead, next - first, rising, band);
  if (!droop) return;
  StepFigures figures{.step_a = placed.step.step, .deviation = droop->deviation, .undershoot = droop->undershoot};
  figures.minimum_scans = static_cast<double>(droop->minimum_scans);
  const bool settles = next - placed.begins >= kFreeForShift;
  if (settles) {
    figures.shift = droop->shift;
    figures.recovery_scans = static_cast<double>(droop->recovery_scans);
  }
  steps_.figures(voltage, FigureSource::FIGURE_SOURCE_CAPTURE, figures);

  Found found;
  found.kind = EventKind::EVENT_KIND_DROOP;
  found.channel = static_cast<std::uint8_t>(voltage);
  found.side = rising ? judge::Side::kLow : judge::Side::kHigh;
  found.source = FigureSource::FIGURE_SOURCE_CAPTURE;
  found.start = capture.first + placed.begins;
  found.end = capture.first + next;
  found.start_u_scans = 0.5;
  found.duration_scans =
      settles ? static_cast<double>(droop->recovery_scans) : static_cast<double>(next - placed.begins);
  found.duration_u_scans = 1;
  found.extreme = droop->extreme;
  const std::uint64_t extreme_at = first + droop->extreme_at;
  const std::uint64_t at = capture.first + extreme_at;
  found.place = {voltage, at, at + 1, capture.codes[voltage][extreme_at]};
  found.shape.steepest = steepest_near(capture, found.place, chains_[voltage].reach_scans());
  found.slew = Found::Slew{slew(placed.step, jig_.scan_rate_hz()), placed.step.slew_is_bound};
  judge_step(found, placed);
  found.depth = droop->deviation;
  found.step_a = placed.step.step;
  found.deviation = droop->deviation;
  found.undershoot = droop->undershoot;
  found.minimum_s = static_cast<double>(droop->minimum_scans) / jig_.scan_rate_hz();
  if (settles) {
    found.settled_shift = droop->shift;
    found.recovery_s = static_cast<double>(droop->recovery_scans) / jig_.scan_rate_hz();
  }
  found.within = history_.within(channel.rail, found.start, found.end);
  found.severity = droop->deviation;
  captured_.push_back({voltage, found.start});
  if (captured_.size() > kCapturedMost) captured_.pop_front();
  // A droop already listed from windows is the same step, seen less well.
  bool replaced = false;
  const std::uint64_t from = found.start > kFreeForMinimum ? found.start - kFreeForMinimum : 0;
  book_.visit(found.kind, found.channel, from, found.start + kFreeForMinimum, [&](Found& listed) {
    if (replaced || listed.source == FigureSource::FIGURE_SOURCE_CAPTURE || *listed.step_a * *found.step_a < 0) return;
    const auto id = listed.id;
    const double severity = listed.severity;
    const bool judged = listed.judged;
    listed = found;
    listed.judged = judged;
    listed.id = id;
    listed.severity = severity;
    replaced = true;
    listed_(listed);
  });
  if (!replaced) list(std::move(found));
}

void StepDesk::judge_step(Found& found, const Placed& placed) const {
  // The chip saw the whole output; a capture's own step is of one channel.
  const auto told = std::find_if(recent_.rbegin(), recent_.rend(), [&](const Step& step) {
    return step.current == placed.current && step.scan < found.start + kFreeForMinimum &&
           found.start < step.scan + kFreeForMinimum && step.step_a * placed.step.step > 0;
  });
  if (told == recent_.rend()) return;
  found.within_step = with_slew(placed.current, told->judged.within, *found.slew);
  found.specified_step_a = told->judged.specified_a;
}

steadyrail::proto::WithinStep StepDesk::with_slew(std::size_t current, steadyrail::proto::WithinStep size,
                                                  const Found::Slew& slew) const {
  const auto speed = specified_.judge_slew(current, slew.a_per_s, slew.at_least);
  return speed == steadyrail::proto::WITHIN_STEP_NO ? speed : size;
}

void StepDesk::list(Found found) {
  const model::JigChannel& channel = *jig_.at(found.channel);
  found.clipped = found.side == judge::Side::kHigh && found.extreme >= channel.value(INT16_MAX);
  // A supply that starts or stops makes steps of its own, and no limit holds then.
  found.judged = !off_(found.channel, found.start, found.end);
  found.id = book_.add(found);
  if (found.id != 0) listed_(found);
}

}  // namespace host::detect
