// SPDX-License-Identifier: Apache-2.0
#include "host/detect/sag_desk.h"

#include <algorithm>
#include <bit>
#include <cmath>

#include "host/judge/uncertainty.h"

namespace host::detect {
namespace {

using steadyrail::proto::EventKind;
using steadyrail::proto::Rail;

constexpr double kSwingFactor = 1.3;  // a step's undershoot exceeds the median's by no more than this; own choice
constexpr double kNoiseSigmas = 3;
constexpr std::uint64_t kAfterScans = 640;   // windows wanted after a sag, for its drawing
constexpr std::uint32_t kCoarseScans = 128;  // windows this long hold no settled stretch in a game: all are learnt from
constexpr double kUnexplainedFirst = 1000;   // V: the book keeps unexplained sags before explained ones

bool watched(const model::JigChannel& channel) {
  if (channel.kind != steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE) return false;
  return channel.rail == Rail::RAIL_P12V || channel.rail == Rail::RAIL_P5V || channel.rail == Rail::RAIL_P3V3;
}

}  // namespace

SagDesk::SagDesk(const model::Jig& jig, EventBook& book, const History& history,
                 std::function<double(std::size_t)> ohm_of, std::function<void(const Found&)> listed)
    : jig_(jig), book_(book), history_(history), ohm_of_(std::move(ohm_of)), listed_(std::move(listed)) {
  for (const auto& channel : jig.channels()) {
    if (!watched(channel)) continue;
    std::vector<std::size_t> currents;
    if (channel.current) currents.push_back(*channel.current);
    for (const auto& other : jig.channels()) {
      if (other.kind != steadyrail::proto::CHANNEL_KIND_CURRENT || other.rail != channel.rail) continue;
      if (channel.current == other.index || currents.size() >= LoadLine::kCurrentsMax) continue;
      currents.push_back(other.index);
    }
    const std::size_t own = channel.current ? 0 : currents.size();
    LoadLine line(model::rail_nominal_v(channel.rail), currents.size(), own);
    watches_.push_back(Watch{.channel = channel.index,
                             .rail = channel.rail,
                             .currents = std::move(currents),
                             .has_own = channel.current.has_value(),
                             .line = line,
                             .tracker = SagTracker(jig.scan_rate_hz()),
                             .swing = {},
                             .last_swing = {}});
  }
}

void SagDesk::add(const Block& block) {
  window_scans_ = block.scans;
  for (Watch& one : watches_) watch(block, one);
  std::erase_if(waiting_, [&](Waiting& waiting) {
    if (waiting.due > block.end()) return false;
    list(std::move(waiting.found));
    return true;
  });
}

void SagDesk::watch(const Block& block, Watch& watch) {
  if (block.on != block.all()) {
    if (const auto sag = watch.tracker.cut()) ended(watch, *sag, block.scans);
    watch.tracker.forget();
    return;
  }
  const model::JigChannel& channel = *jig_.at(watch.channel);
  const auto& columns = block.windows->channels[watch.channel];
  const auto per_code = static_cast<float>(channel.per_code);
  const auto at_code_0 = static_cast<float>(channel.at_code_0);
  // The deepest reading goes with the greatest load of its window: that is where a load-caused drop would stand.
  Row least;
  for (std::uint32_t i = 0; i < wire::kWindowsPerBlock; ++i) least[i] = per_code * columns.min[i] + at_code_0;
  double mean = channel.value(static_cast<double>(block.sum_8[watch.channel]) / 8 / block.count);
  for (std::size_t k = 0; k < watch.currents.size(); ++k) {
    const std::size_t current = watch.currents[k];
    const auto ohm = static_cast<float>(watch.line.resistance(k));
    const auto& most = block.loads.high[current];
    for (std::uint32_t i = 0; i < wire::kWindowsPerBlock; ++i) least[i] += ohm * most[i];
    mean += ohm * jig_.at(current)->value(static_cast<double>(block.sum_8[current]) / 8 / block.count);
  }
  const float deepest = *std::min_element(least.begin(), least.begin() + block.count);
  if (watch.tracker.quiet(deepest)) {
    watch.tracker.follow(std::uint64_t{block.scans} * block.count, mean);
  } else {
    slow(block, watch, least);
  }
  watch.last_swing = swing(block, watch, block.count - 1);
  if (!watch.tracker.open()) learn(block, watch);
}

void SagDesk::slow(const Block& block, Watch& watch, const Row& least) {
  const auto wider = [](const Swing& a, const Swing& b) {
    return Swing{std::max(a.own, b.own), std::max(a.others, b.others)};
  };
  Swing before = watch.last_swing;
  const Means means = corrected_means(block, watch);
  for (std::uint32_t i = 0; i < block.count; ++i) {
    const Swing here = swing(block, watch, i);
    const bool was_open = watch.tracker.open();
    const auto sag = watch.tracker.add(block.start_of(i), block.scans, least[i], means[i]);
    if (watch.tracker.open()) {
      if (!was_open) watch.swing = before;
      watch.swing = wider(watch.swing, here);
    }
    if (sag) ended(watch, *sag, block.scans);
    before = here;
  }
}

SagDesk::Means SagDesk::corrected_means(const Block& block, const Watch& watch) const {
  Means volts;
  const auto add = [&](std::size_t channel, double factor) {
    const model::JigChannel& described = *jig_.at(channel);
    const double per_eighth = factor * described.per_code / 8;
    const double at_code_0 = factor * described.at_code_0;
    const auto& mean_8 = block.windows->channels[channel].mean_8;
    for (std::uint32_t i = 0; i < wire::kWindowsPerBlock; ++i) volts[i] += per_eighth * mean_8[i] + at_code_0;
  };
  volts.fill(0);
  add(watch.channel, 1);
  for (std::size_t k = 0; k < watch.currents.size(); ++k) add(watch.currents[k], watch.line.resistance(k));
  return volts;
}

SagDesk::Swing SagDesk::swing(const Block& block, const Watch& watch, std::uint32_t window) const {
  Swing amps;
  for (std::size_t k = 0; k < watch.currents.size(); ++k) {
    const std::size_t current = watch.currents[k];
    const double moved = block.loads.high[current][window] - block.loads.low[current][window];
    (k == 0 && watch.has_own ? amps.own : amps.others) += moved;
  }
  return amps;
}

double SagDesk::explained_v(const Watch& watch) const {
  // Other connectors of the rail pull at this one through the supply alone: by no more than the least that any
  // connector's own steps cost, which holds the supply's share and its own lead's.
  double shared = ohm_of_(watch.channel);
  for (const Watch& other : watches_) {
    if (other.rail == watch.rail && other.has_own) shared = std::min(shared, ohm_of_(other.channel));
  }
  const double undershoot = ohm_of_(watch.channel) * watch.swing.own + shared * watch.swing.others;
  return kSwingFactor * undershoot + kNoiseSigmas * jig_.at(watch.channel)->noise_rms;
}

void SagDesk::learn(const Block& block, Watch& watch) {
  const std::uint32_t usable = block.scans >= kCoarseScans ? block.all() : block.settled[watch.rail];
  if (usable == 0) return;
  // One window a block is plenty: neighbours say the same.
  const auto window = static_cast<std::uint32_t>(31 - std::countl_zero(usable));
  std::array<double, LoadLine::kCurrentsMax> amps{};
  std::array<double, LoadLine::kCurrentsMax> before{};
  for (std::size_t k = 0; k < watch.currents.size(); ++k) {
    const std::size_t current = watch.currents[k];
    amps[k] = jig_.at(current)->value(block.windows->channels[current].mean_8[window] / 8.0);
    before[k] = watch.line.resistance(k);
  }
  const double volts = jig_.at(watch.channel)->value(block.windows->channels[watch.channel].mean_8[window] / 8.0);
  if (!watch.line.learn(volts, amps)) return;
  // The correction has changed under the reference, which must not read that as a change of the rail.
  double moved = 0;
  for (std::size_t k = 0; k < watch.currents.size(); ++k) moved += (watch.line.resistance(k) - before[k]) * amps[k];
  watch.tracker.shift(moved);
}

void SagDesk::ended(Watch& watch, const ScanSag& sag, std::uint32_t window_scans) {
  const model::JigChannel& channel = *jig_.at(watch.channel);
  const double drop = sag.reference - sag.least;
  Found found;
  found.kind = EventKind::EVENT_KIND_SAG;
  found.channel = static_cast<std::uint8_t>(watch.channel);
  found.source = steadyrail::proto::FIGURE_SOURCE_WINDOW;
  found.truncated = sag.truncated;
  found.start = sag.start;
  found.end = sag.end;
  found.start_u_scans = window_scans;
  const auto span = static_cast<double>(sag.end - sag.start);
  found.duration_scans = span > window_scans ? span - window_scans : span / 2;
  found.duration_u_scans = span > window_scans ? window_scans : span / 2;
  found.depth = drop;
  found.retained = sag.retained();
  found.severity = drop;
  found.load_corrected = !watch.currents.empty();
  if (watch.currents.empty()) {
    found.note =
        "depth and retained as read: no current channel on this rail, whether the load explains it is not known";
  } else {
    found.note = "depth and retained without the drop the load explains; the extreme as read";
    found.explained = drop <= explained_v(watch);
    if (!*found.explained) found.severity += kUnexplainedFirst;
    ++(*found.explained ? watch.explained : watch.unexplained);
  }
  // What the channel itself read, where that window is still held; else the corrected level.
  found.extreme = sag.least;
  history_.visit(sag.at, sag.at + 1, [&](const History::Window& window) {
    found.extreme = channel.value(history_.low(window, watch.channel));
  });
  found.within = history_.within(channel.rail, sag.start, sag.end);
  if (sag.new_level) found.note += "; new level: the reference was taken anew after 10 s";
  waiting_.push_back({std::move(found), sag.end + kAfterScans});
  constexpr std::size_t kWaitingMax = 1024;
  if (waiting_.size() > kWaitingMax) {
    list(std::move(waiting_.front().found));
    waiting_.erase(waiting_.begin());
  }
}

void SagDesk::list(Found found) {
  found.id = book_.add(found);
  if (found.id != 0) listed_(found);
}

void SagDesk::gap() {
  for (Watch& watch : watches_) {
    if (const auto sag = watch.tracker.cut()) ended(watch, *sag, window_scans_);
    watch.last_swing = {};
  }
}

void SagDesk::finish() {
  gap();
  for (Waiting& waiting : waiting_) list(std::move(waiting.found));
  waiting_.clear();
}

std::vector<SagDesk::Count> SagDesk::counts() const {
  std::vector<Count> all;
  all.reserve(watches_.size());
  for (const Watch& watch : watches_) all.push_back({watch.channel, watch.explained, watch.unexplained});
  return all;
}

}  // namespace host::detect
