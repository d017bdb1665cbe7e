// SPDX-License-Identifier: Apache-2.0
#include "host/detect/exposure_track.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <string>

namespace host::detect {
namespace {

using steadyrail::proto::EventKind;

const char* const kWords[] = {"excursion", "sag", "contact-step", "line-pulse", "mains-loss", "shutdown"};

/// Index of the word of a kind that an innocent load does not make by itself.
std::optional<std::uint8_t> word_of(const Found& found) {
  switch (found.kind) {
    case EventKind::EVENT_KIND_EXCURSION:
      return 0;
    case EventKind::EVENT_KIND_SAG:
      if (found.explained.value_or(false)) return std::nullopt;
      return 1;
    case EventKind::EVENT_KIND_CONTACT_STEP:
      return 2;
    case EventKind::EVENT_KIND_LINE_PULSE:
      return 3;
    case EventKind::EVENT_KIND_MAINS_LOSS:
      return 4;
    case EventKind::EVENT_KIND_SHUTDOWN:
      return 5;
    default:
      return std::nullopt;
  }
}

}  // namespace

ExposureTrack::ExposureTrack(const model::Jig& jig) : jig_(jig), column_scans_(kColumnS * jig.scan_rate_hz()) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_CURRENT) continue;
    currents_.emplace_back(&channel, std::abs(model::rail_nominal_v(channel.rail)));
  }
}

void ExposureTrack::add(const Block& block) {
  double watts = 0;
  for (const auto& [channel, volts] : currents_) {
    watts += volts * channel->value(static_cast<double>(block.sum_8[channel->index]) / 8 / block.count);
  }
  // A block lies across the edge of two columns; each takes its share of it.
  for (double from = static_cast<double>(block.first); from < static_cast<double>(block.end());) {
    while (from >= static_cast<double>(kColumnsMost) * column_scans_) merge();
    const double index = std::floor(from / column_scans_);
    const double to = std::min(static_cast<double>(block.end()), (index + 1) * column_scans_);
    const auto column = static_cast<std::size_t>(index);
    if (columns_.size() <= column) columns_.resize(column + 1);
    columns_[column].joules += watts * (to - from) / jig_.scan_rate_hz();
    columns_[column].seen_scans += to - from;
    from = to;
  }
  spread(block);
}

/// Windows of the block each to the column in which it begins.
void ExposureTrack::spread(const Block& block) {
  std::array<double, wire::kWindowsPerBlock> watts{};
  for (const auto& [channel, volts] : currents_) {
    const double per_mean_8 = volts * channel->per_code / 8;
    const auto& means = block.windows->channels[channel->index].mean_8;
    for (std::uint32_t i = 0; i < block.count; ++i) watts[i] += per_mean_8 * means[i];
  }
  for (std::uint32_t i = 0; i < block.count; ++i) {
    Column& column = columns_[static_cast<std::size_t>(static_cast<double>(block.start_of(i)) / column_scans_)];
    column.least_w = std::min(column.least_w, watts[i]);
    column.most_w = std::max(column.most_w, watts[i]);
  }
}

void ExposureTrack::merge() {
  for (std::size_t i = 0; i < columns_.size(); ++i) {
    const Column column = columns_[i];
    if (i % 2 == 0) columns_[i / 2] = {};
    columns_[i / 2].joules += column.joules;
    columns_[i / 2].seen_scans += column.seen_scans;
    columns_[i / 2].least_w = std::min(columns_[i / 2].least_w, column.least_w);
    columns_[i / 2].most_w = std::max(columns_[i / 2].most_w, column.most_w);
  }
  columns_.resize((columns_.size() + 1) / 2);
  column_scans_ *= 2;
}

void ExposureTrack::event(const Found& found) {
  const auto word = word_of(found);
  if (!word) return;
  if (events_.size() >= kEventsMost) {
    cut_ = true;
    return;
  }
  events_.push_back(
      {(static_cast<double>(found.start) + found.start_s_offset) / jig_.scan_rate_hz(), *word, found.channel});
}

void ExposureTrack::write(steadyrail::proto::Exposure& out) const {
  out.set_column_s(column_scans_ / jig_.scan_rate_hz());
  for (const Column& column : columns_) {
    const double seen_s = column.seen_scans / jig_.scan_rate_hz();
    out.add_load_w(seen_s > 0 ? static_cast<float>(column.joules / seen_s) : 0);
    out.add_seen_share(static_cast<float>(column.seen_scans / column_scans_));
    out.add_spread_w(column.most_w > column.least_w ? static_cast<float>(column.most_w - column.least_w) : 0);
  }
  for (const Event& event : events_) {
    out.add_event_s(event.at_s);
    out.add_event_words(std::string(kWords[event.kind]) + " at " + jig_.at(event.channel)->name);
  }
  out.set_cut(cut_);
}

}  // namespace host::detect
