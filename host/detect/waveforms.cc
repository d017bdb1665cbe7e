// SPDX-License-Identifier: Apache-2.0
#include "host/detect/waveforms.h"

#include <algorithm>

namespace host::detect {
namespace {

using steadyrail::proto::FigureSource;
using steadyrail::proto::Waveform;

constexpr std::uint64_t kAroundScans = 512;  // drawn before and after an event seen in windows
constexpr int kPointsMost = 512;             // of a drawing from windows: a long event shows its beginning

}  // namespace

void WaveformBook::draw(const Found& found, const std::deque<Capture>& captures) {
  auto& shelf = shelves_[{found.kind, found.channel}];
  Drawn drawn;
  drawn.id = found.id;
  drawn.channel = found.channel;
  drawn.start = found.start;
  drawn.severity = found.severity;
  if (const auto same = std::ranges::find(shelf, found.id, &Drawn::id); same != shelf.end()) shelf.erase(same);
  if (shelf.size() >= kDrawnMost) {
    const auto mildest = std::ranges::min_element(shelf, {}, &Drawn::severity);
    if (mildest->severity >= drawn.severity) return;
    shelf.erase(mildest);
  }
  const bool captured = std::ranges::any_of(captures, [&](const Capture& one) { return from_capture(one, drawn); });
  if (!captured) from_windows(found, drawn);
  if (drawn.waveform.low_size() > 0) shelf.push_back(std::move(drawn));
}

void WaveformBook::capture(const Capture& capture) {
  for (auto& [key, shelf] : shelves_) {
    for (Drawn& drawn : shelf) {
      if (drawn.waveform.source() != FigureSource::FIGURE_SOURCE_CAPTURE) from_capture(capture, drawn);
    }
  }
}

bool WaveformBook::from_capture(const Capture& capture, Drawn& drawn) const {
  if (!capture.holds(drawn.channel, drawn.start)) return false;
  const model::JigChannel& channel = *jig_.at(drawn.channel);
  Waveform waveform;
  waveform.set_event_id(drawn.id);
  waveform.set_channel(channel.name);
  waveform.set_unit("V");
  waveform.set_first_s(static_cast<double>(capture.first) / jig_.scan_rate_hz());
  waveform.set_step_s(1 / jig_.scan_rate_hz());
  waveform.set_source(FigureSource::FIGURE_SOURCE_CAPTURE);
  for (std::int16_t code : capture.codes[drawn.channel]) {
    const auto volts = static_cast<float>(channel.value(code));
    waveform.add_low(volts);
    waveform.add_high(volts);
  }
  drawn.waveform = std::move(waveform);
  return true;
}

void WaveformBook::from_windows(const Found& found, Drawn& drawn) const {
  const model::JigChannel& channel = *jig_.at(drawn.channel);
  Waveform waveform;
  waveform.set_event_id(drawn.id);
  waveform.set_channel(channel.name);
  waveform.set_unit("V");
  waveform.set_source(FigureSource::FIGURE_SOURCE_WINDOW);
  std::uint64_t next = 0;
  std::uint32_t scans = 0;
  bool broken = false;
  const std::uint64_t from = found.start > kAroundScans ? found.start - kAroundScans : 0;
  history_.visit(from, found.end + kAroundScans, [&](const History::Window& window) {
    if (broken || waveform.low_size() >= kPointsMost) return;
    // A hole or another window length ends the line, or begins it anew before the event.
    if (scans != 0 && (window.start != next || window.scans != scans)) {
      broken = window.start > found.start;
      if (broken) return;
      waveform.clear_low();
      waveform.clear_high();
    }
    if (waveform.low_size() == 0) waveform.set_first_s(static_cast<double>(window.start) / jig_.scan_rate_hz());
    scans = window.scans;
    next = window.end();
    waveform.add_low(static_cast<float>(channel.value(history_.low(window, drawn.channel))));
    waveform.add_high(static_cast<float>(channel.value(history_.high(window, drawn.channel))));
  });
  waveform.set_step_s(scans / jig_.scan_rate_hz());
  drawn.waveform = std::move(waveform);
}

void WaveformBook::write(const EventBook& book, steadyrail::proto::Drawings& drawings) const {
  for (const auto& [key, shelf] : shelves_) {
    std::vector<const Drawn*> by_time;
    for (const Drawn& drawn : shelf) {
      if (book.listed(drawn.id)) by_time.push_back(&drawn);
    }
    std::ranges::sort(by_time, {}, &Drawn::start);
    for (const Drawn* drawn : by_time) *drawings.add_waveforms() = drawn->waveform;
  }
}

}  // namespace host::detect
