// SPDX-License-Identifier: Apache-2.0
#include "host/detect/crossing_book.h"

#include <algorithm>
#include <cmath>

#include "host/detect/rule.h"

#include "host/judge/uncertainty.h"

namespace host::detect {
namespace {

using steadyrail::proto::FigureSource;

// A moment known to one scan, or one window, and no better: rectangular, 1/sqrt(12) of it.
const double kRectangular = 1 / std::sqrt(12.0);

bool passes(std::int32_t before, std::int32_t after, std::int32_t level, bool rising) {
  return rising ? before < level && after >= level : before >= level && after < level;
}

/// As the jig is armed: what reads this code or more is at or above the level.
std::int32_t level_code(const model::JigChannel& channel, double volts) {
  return least_code_at(channel, model::to_microvolts(volts));
}

}  // namespace

CrossingBook::CrossingBook(const model::Jig& jig, const History& history, const std::deque<Capture>& captures)
    : jig_(jig), history_(history), captures_(captures) {}

void CrossingBook::stamp(const steadyrail::proto::Crossing& crossing) {
  const model::JigChannel* channel = jig_.at(crossing.channel());
  if (channel == nullptr || crossing.scan_before() >= kScanMost) return;
  auto& kept = stamps_[channel->index];
  kept.push_back({crossing.scan_before(), std::clamp(crossing.code_before(), -32768, 32767),
                  std::clamp(crossing.code_after(), -32768, 32767)});
  if (kept.size() > kKept) kept.pop_front();
}

void CrossingBook::edge(const steadyrail::proto::Edge& edge) {
  const auto line = static_cast<std::size_t>(edge.line());
  if (line >= edges_.size() || edge.pulse_ns() != 0 || edge.scan() >= kScanMost) return;
  const double delay = jig_.description().lines().comparator_delay_s() * jig_.scan_rate_hz();
  const double scan = static_cast<double>(edge.scan()) + std::min(edge.offset_256(), 255U) / 256.0;
  edges_[line].push_back({scan - delay, edge.high()});
  if (edges_[line].size() > kKept) edges_[line].pop_front();
}

std::optional<Instant> CrossingBook::edge_in(steadyrail::proto::Line line, bool high, double from, double to) const {
  const auto& edges = edges_[static_cast<std::size_t>(line)];
  for (auto edge = edges.rbegin(); edge != edges.rend(); ++edge) {
    if (edge->high != high || edge->scan < from || edge->scan >= to) continue;
    return Instant{edge->scan, kRectangular / 256, FigureSource::FIGURE_SOURCE_CHIP};
  }
  return std::nullopt;
}

Instant CrossingBook::interpolated(const model::JigChannel& channel, double volts, const Stamp& stamp,
                                   FigureSource source) const {
  const double before = channel.value(stamp.before);
  const double step = channel.value(stamp.after) - before;
  Instant instant;
  instant.scan = static_cast<double>(stamp.scan) + std::clamp((volts - before) / step, 0.0, 1.0);
  // The line between two readings is not the signal: one scan stays in it, besides what the reading is worth on its
  // slope.
  instant.u_scans = std::hypot(kRectangular, judge::expanded_uncertainty(channel, volts, 1).standard / step);
  instant.scan -= channel.delay_s() * jig_.scan_rate_hz();
  instant.source = source;
  return instant;
}

std::optional<Instant> CrossingBook::captured(const model::JigChannel& channel, double volts, bool rising,
                                              std::uint64_t from, std::uint64_t to) const {
  const std::int32_t level = level_code(channel, volts);
  for (const Capture& capture : captures_) {
    const auto& codes = capture.codes[channel.index];
    if (codes.empty() || capture.end <= from || capture.first >= to) continue;
    const std::size_t begin = from > capture.first ? from - capture.first : 0;
    const std::size_t end = std::min<std::uint64_t>(to, capture.end) - capture.first;
    for (std::size_t i = begin; i + 1 < std::min(end, codes.size()); ++i) {
      const Stamp stamp{capture.first + i, codes[i], codes[i + 1]};
      if (!passes(stamp.before, stamp.after, level, rising)) continue;
      return interpolated(channel, volts, stamp, FigureSource::FIGURE_SOURCE_CAPTURE);
    }
  }
  return std::nullopt;
}

std::optional<Instant> CrossingBook::sharpened(std::size_t channel, double volts, bool rising, std::uint64_t from,
                                               std::uint64_t to) const {
  const std::int32_t level = level_code(*jig_.at(channel), volts);
  for (const Stamp& stamp : stamps_[channel]) {
    if (stamp.scan < from || stamp.scan >= to || !passes(stamp.before, stamp.after, level, rising)) continue;
    return interpolated(*jig_.at(channel), volts, stamp, FigureSource::FIGURE_SOURCE_CHIP);
  }
  return captured(*jig_.at(channel), volts, rising, from, to);
}

Instant CrossingBook::from_window(const model::JigChannel& channel, double volts, bool rising,
                                  const History::Window& window) const {
  const double least = channel.value(history_.low(window, channel.index));
  const double most = channel.value(history_.high(window, channel.index));
  const double share = most > least ? std::clamp((volts - least) / (most - least), 0.0, 1.0) : 0.5;
  Instant instant;
  instant.scan = static_cast<double>(window.start) + (rising ? share : 1 - share) * window.scans;
  instant.scan -= channel.delay_s() * jig_.scan_rate_hz();
  instant.u_scans = kRectangular * window.scans;
  instant.source = FigureSource::FIGURE_SOURCE_WINDOW;
  return instant;
}

std::optional<Instant> CrossingBook::first(std::size_t channel, double volts, bool rising,
                                           std::span<const History::Window> windows) const {
  const model::JigChannel& here = *jig_.at(channel);
  const std::int32_t level = level_code(here, volts);
  for (const History::Window& window : windows) {
    const std::int32_t reached = rising ? history_.high(window, channel) : history_.low(window, channel);
    if (rising ? reached < level : reached >= level) continue;
    const std::uint64_t from = window.start > 0 ? window.start - 1 : 0;
    const auto sharp = sharpened(channel, volts, rising, from, window.end());
    return sharp ? *sharp : from_window(here, volts, rising, window);
  }
  return std::nullopt;
}

std::optional<Instant> CrossingBook::left(std::size_t channel, double volts,
                                          std::span<const History::Window> windows) const {
  const model::JigChannel& here = *jig_.at(channel);
  const std::int32_t level = level_code(here, volts);
  const auto stands = [&](const History::Window& window) { return history_.high(window, channel) >= level; };
  if (windows.empty() || stands(windows.back())) return std::nullopt;
  for (std::size_t i = windows.size() - 1; i-- > 0;) {
    if (!stands(windows[i])) continue;
    // It fell in the last window that still saw it above, or from its last scan to the next.
    return first(channel, volts, false, windows.subspan(i, 2));
  }
  return std::nullopt;
}

}  // namespace host::detect
