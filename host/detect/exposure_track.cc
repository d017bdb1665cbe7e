// SPDX-License-Identifier: Apache-2.0
#include "host/detect/exposure_track.h"

#include <algorithm>
#include <cmath>

namespace host::detect {
namespace {

using steadyrail::proto::EventKind;

/// The word of a kind an innocent load does not make by itself; empty for the others.
std::string word_of(const Found& found) {
  switch (found.kind) {
    case EventKind::EVENT_KIND_EXCURSION:
      return "excursion";
    case EventKind::EVENT_KIND_SAG:
      return found.explained.value_or(false) ? "" : "sag";
    case EventKind::EVENT_KIND_CONTACT_STEP:
      return "contact-step";
    case EventKind::EVENT_KIND_LINE_PULSE:
      return "line-pulse";
    case EventKind::EVENT_KIND_MAINS_LOSS:
      return "mains-loss";
    case EventKind::EVENT_KIND_SHUTDOWN:
      return "shutdown";
    default:
      return "";
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
    const double index = std::floor(from / column_scans_);
    if (index >= static_cast<double>(kColumnsMost)) {
      cut_ = true;
      return;
    }
    const double to = std::min(static_cast<double>(block.end()), (index + 1) * column_scans_);
    const auto column = static_cast<std::size_t>(index);
    if (columns_.size() <= column) columns_.resize(column + 1);
    columns_[column].joules += watts * (to - from) / jig_.scan_rate_hz();
    columns_[column].seen_scans += to - from;
    from = to;
  }
}

void ExposureTrack::event(const Found& found) {
  const std::string kind = word_of(found);
  if (kind.empty()) return;
  if (events_.size() >= kEventsMost) {
    cut_ = true;
    return;
  }
  events_.emplace_back((static_cast<double>(found.start) + found.start_s_offset) / jig_.scan_rate_hz(),
                       kind + " at " + jig_.at(found.channel)->name);
}

void ExposureTrack::write(steadyrail::proto::Exposure& out) const {
  out.set_column_s(kColumnS);
  for (const Column& column : columns_) {
    const double seen_s = column.seen_scans / jig_.scan_rate_hz();
    out.add_load_w(seen_s > 0 ? static_cast<float>(column.joules / seen_s) : 0);
    out.add_seen_share(static_cast<float>(column.seen_scans / column_scans_));
  }
  for (const auto& [at_s, words] : events_) {
    out.add_event_s(at_s);
    out.add_event_words(words);
  }
  out.set_cut(cut_);
}

}  // namespace host::detect
