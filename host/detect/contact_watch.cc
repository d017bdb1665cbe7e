// SPDX-License-Identifier: Apache-2.0
#include "host/detect/contact_watch.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <span>
#include <utility>

#include <fmt/format.h>

#include "host/detect/contact.h"
#include "host/judge/uncertainty.h"

namespace host::detect {
namespace {

constexpr double kLeastV = 10e-3;    // a step smaller than this is left alone; own choice
constexpr double kLeastLoadA = 1;    // below it a contact shows nothing
constexpr float kStillA = 0.5F;      // as for settled windows
constexpr double kStillSigmas = 8;   // 32 normal samples span 8 sigma less than once in a thousand windows
constexpr double kFlatShare = 0.15;  // of the step: how far either side may wander
constexpr double kLevelSpreadV = 1;  // the line's level is an offset near 0; its prior spread is a twentieth of this

}  // namespace

ContactWatch::ContactWatch(const model::Jig& jig, EventBook& book, const History& history,
                           std::function<void(const Found&)> listed)
    : jig_(jig), book_(book), history_(history), listed_(std::move(listed)) {
  for (const ConnectorPair& pair : connector_pairs(jig)) {
    if (pair.conductor == Conductor::kAsymmetry) continue;  // which of the two plugs it was could not be told
    std::vector<std::size_t> loads{pair.current_a};
    if (pair.current_b) loads.push_back(*pair.current_b);
    const std::size_t own = loads.size();
    if (pair.conductor == Conductor::kSupplyAndReturn) {
      // Here every load moves the shared returns.
      for (const auto& channel : jig.channels()) {
        const bool known = std::ranges::find(loads, channel.index) != loads.end();
        if (channel.kind != steadyrail::proto::CHANNEL_KIND_CURRENT || known || loads.size() == kLoadsMost) continue;
        loads.push_back(channel.index);
      }
    }
    for (std::size_t current : loads) {
      if (std::ranges::find(currents_, current) == currents_.end()) currents_.push_back(current);
    }
    watches_.push_back(Watch{pair, std::move(loads), LoadLine(kLevelSpreadV, own, 0)});
  }
}

void ContactWatch::gap() {
  for (Watch& watch : watches_) watch.held = 0;
}

void ContactWatch::add(const Block& block) {
  if (!block.follows) gap();
  read_loads(block);
  for (Watch& one : watches_) watch(block, one);
}

void ContactWatch::read_loads(const Block& block) {
  // Over whole rows: loops of known length become vector instructions.
  for (std::size_t index : currents_) {
    const model::JigChannel& channel = *jig_.at(index);
    const auto& means = block.windows->channels[index].mean_8;
    Row& amps = amps_[index];
    for (std::size_t i = 0; i < amps.size(); ++i) amps[i] = static_cast<float>(channel.value(means[i] / 8.0));
    const double most = static_cast<double>(kStillA) + kStillSigmas * channel.noise_rms;
    const Row& low = block.loads.low[index];
    const Row& high = block.loads.high[index];
    std::uint32_t still = 0;
    for (std::size_t i = 0; i < low.size(); ++i) {
      still |= (static_cast<double>(high[i] - low[i]) <= most ? 1U : 0U) << i;
    }
    still_[index] = still;
  }
}

double ContactWatch::mean(const Block& block, std::size_t channel, std::uint32_t window) const {
  return jig_.at(channel)->value(block.windows->channels[channel].mean_8[window] / 8.0);
}

void ContactWatch::rest_of(const Block& block, const Watch& watch, Row& rest) const {
  const ConnectorPair& pair = watch.pair;
  rest.fill(0);
  // Only differences of the rest are used, so what the channels read at code 0 may stay out.
  const auto take = [&](std::size_t channel, double factor) {
    const auto scale = static_cast<float>(factor * jig_.at(channel)->per_code / 8);
    const auto& means = block.windows->channels[channel].mean_8;
    for (std::uint32_t i = 0; i < wire::kWindowsPerBlock; ++i) rest[i] += scale * static_cast<float>(means[i]);
  };
  take(pair.a, 1);
  take(pair.b, -1);
  if (pair.ground_a) take(*pair.ground_a, 1);
  if (pair.ground_b) take(*pair.ground_b, -1);
  take(pair.current_a, watch.line.resistance(0));
  if (pair.current_b) take(*pair.current_b, -watch.line.resistance(1));
}

void ContactWatch::watch(const Block& block, Watch& watch) {
  Row rest;
  rest_of(block, watch, rest);
  const auto [low, high] = std::minmax_element(rest.begin(), rest.begin() + block.count);
  double least = static_cast<double>(*low);
  double most = static_cast<double>(*high);
  for (std::size_t i = 0; i < watch.held; ++i) {
    least = std::min(least, watch.last[i].rest);
    most = std::max(most, watch.last[i].rest);
  }
  const bool flat = most - least < kLeastV;
  // What was kept of the past, then this block; of a flat one only what the next needs.
  const std::uint32_t from = flat && block.count > kSpan ? block.count - kSpan : 0;
  std::size_t size = 0;
  if (from == 0) {
    for (std::size_t i = 0; i < watch.held; ++i) all_[size++] = watch.last[i];
  }
  std::uint32_t still = block.on;
  for (std::size_t current : watch.loads) still &= still_[current];
  for (std::uint32_t i = from; i < block.count; ++i) {
    Sample& sample = all_[size++];
    sample.rest = static_cast<double>(rest[i]);
    sample.still = (still >> i & 1U) != 0;
    sample.start = block.start_of(i);
    sample.scans = block.scans;
    for (std::size_t k = 0; k < watch.loads.size(); ++k) sample.amps[k] = amps_[watch.loads[k]][i];
  }
  if (!flat) look_where_still(size, watch);
  watch.held = std::min(size, kSpan);
  std::copy_n(&all_[size - watch.held], watch.held, watch.last.begin());
  learn(block, watch);
}

void ContactWatch::learn(const Block& block, Watch& watch) const {
  const std::uint32_t usable = block.settled[static_cast<std::size_t>(jig_.at(watch.pair.a)->rail)] & block.on;
  if (usable == 0) return;
  const auto window = static_cast<std::uint32_t>(31 - std::countl_zero(usable));
  std::array<double, 2> amps{mean(block, watch.pair.current_a, window), 0};
  if (watch.pair.current_b) amps[1] = -mean(block, *watch.pair.current_b, window);
  const double y = watch.pair.volts([&](std::size_t channel) { return mean(block, channel, window); });
  watch.line.learn(y, std::span(amps).first(watch.line.currents()));
}

void ContactWatch::look_where_still(std::size_t size, Watch& watch) {
  static_assert(std::tuple_size_v<decltype(all_)> <= 64, "one bit a window");
  std::uint64_t still = 0;
  for (std::size_t i = 0; i < size; ++i) still |= std::uint64_t{all_[i].still} << i;
  std::uint64_t side = still;  // kSide still windows in a row begin here
  for (std::size_t i = 1; i < kSide; ++i) side &= still >> i;
  for (std::uint64_t both = side & side >> (kSide + kEdge); both != 0; both &= both - 1) {
    look(&all_[static_cast<std::size_t>(std::countr_zero(both))], watch);
  }
}

bool ContactWatch::returns_moved(const Sample* samples, const Watch& watch, double step) const {
  const auto& ground = jig_.at(watch.pair.a)->ground;
  if (watch.pair.conductor != Conductor::kSupplyAndReturn || !ground) return false;
  const auto mean_of = [&](std::uint64_t from, std::uint64_t to) {
    double sum = 0;
    std::size_t count = 0;
    history_.visit(from, to, [&](const History::Window& window) {
      sum += jig_.at(*ground)->value(history_.mean(window, *ground));
      ++count;
    });
    return count == 0 ? 0 : sum / static_cast<double>(count);
  };
  const Sample& last = samples[kSpan - 1];
  const double moved =
      mean_of(samples[kSide + kEdge].start, last.start + last.scans) - mean_of(samples[0].start, samples[kSide].start);
  return std::abs(moved) > kFlatShare * std::abs(step);
}

void ContactWatch::look(const Sample* samples, Watch& watch) {
  const Sample& edge = samples[kSide + 1];  // begins where the two windows of the edge meet
  if (edge.start < watch.deaf_until) return;
  constexpr std::size_t kAfter = kSide + kEdge;
  const auto rest = [&](std::size_t from) {
    double sum = 0;
    for (std::size_t i = from; i < from + kSide; ++i) sum += samples[i].rest / kSide;
    return sum;
  };
  const double step = rest(kAfter) - rest(0);
  if (std::abs(step) < kLeastV) return;
  struct Part {
    double least = 0, most = 0;
    std::array<float, kLoadsMost> amps{};
  };
  const auto part = [&](std::size_t from) {
    Part out{samples[from].rest, samples[from].rest, {}};
    for (std::size_t i = from; i < from + kSide; ++i) {
      for (std::size_t k = 0; k < watch.loads.size(); ++k) out.amps[k] += samples[i].amps[k] / kSide;
      out.least = std::min(out.least, samples[i].rest);
      out.most = std::max(out.most, samples[i].rest);
    }
    return out;
  };
  const Part before = part(0);
  const Part after = part(kAfter);
  for (std::size_t k = 0; k < watch.loads.size(); ++k) {
    if (std::abs(after.amps[k] - before.amps[k]) > kStillA) return;
  }
  const double amps = static_cast<double>(before.amps[0] + after.amps[0]) / 2;
  if (amps < kLeastLoadA) return;
  if (std::abs(step) < kExcessFlagOhm * amps) return;
  const double wander = std::max(before.most - before.least, after.most - after.least);
  if (wander > kFlatShare * std::abs(step)) return;
  if (returns_moved(samples, watch, step)) return;

  const double ohm = -step / amps;
  Found found;
  found.kind = steadyrail::proto::EVENT_KIND_CONTACT_STEP;
  found.channel = static_cast<std::uint8_t>(watch.pair.a);
  found.side = ohm > 0 ? judge::Side::kLow : judge::Side::kHigh;
  found.source = steadyrail::proto::FIGURE_SOURCE_WINDOW;
  found.start = edge.start;
  found.end = edge.start + edge.scans;
  found.start_u_scans = edge.scans;
  found.depth = std::abs(step);
  found.extreme = 0;
  std::size_t seen = 0;
  const std::uint64_t end = samples[kSpan - 1].start + samples[kSpan - 1].scans;
  history_.visit(edge.start + edge.scans, end, [&](const History::Window& window) {
    found.extreme += jig_.at(watch.pair.a)->value(history_.mean(window, watch.pair.a));
    ++seen;
  });
  if (seen > 0) found.extreme /= static_cast<double>(seen);
  found.resistance_step_ohm = ohm;
  // The offset of the current channel does not cancel here as it does in a slope.
  const double current_u = judge::expanded_uncertainty(*jig_.at(watch.pair.current_a), amps, kSide).expanded;
  found.resistance_step_u_ohm = std::abs(ohm) * current_u / amps;
  found.within = history_.within(jig_.at(watch.pair.a)->rail, found.start, found.end);
  found.severity = std::abs(ohm);
  found.note =
      fmt::format("{:.1f} ± {:.1f} mohm {} at {:.1f} A, against {}; no load step within 5 ms", 1e3 * std::abs(ohm),
                  1e3 * *found.resistance_step_u_ohm, ohm > 0 ? "more" : "less", amps, jig_.at(watch.pair.b)->name);
  watch.deaf_until = end;
  found.id = book_.add(found);
  if (found.id != 0) listed_(found);
}

}  // namespace host::detect
