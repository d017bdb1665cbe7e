// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/session_body.h"

#include <algorithm>
#include <cmath>

namespace trial {
namespace {

namespace sim = host::simulate;
namespace proto = steadyrail::proto;

}  // namespace

void Session::Body::changed(Scan at, Source source, double amps) {
  const double delta = amps - wave_.levels()[source];
  wave_.step(at, source, amps);
  if (!on_) return;
  for (const auto& [from, channel] : current_of_) {
    if (from == source) steps_.step(at, channel, delta * responses_.per_amp(channel, source));
  }
}

/// The greatest load within the window decides: nothing is simulated that closed forms hold for.
// The PC hangs when a load stays below what it stands; the decision falls a window late at most.
void Session::Body::watch_loads(const Wave::Window& window) {
  if (!track_.works()) {
    below_ = 0;
    return;
  }
  constexpr Scan kHangAfter = 2;  // scans: 50 us
  const auto limit = static_cast<float>(track_.hang_below_v());
  std::array<float, Responses::kWindow> graphics, processor;
  const bool closed = !window.simulated && !wave_.contact_moves(window, kLoadGraphics);
  if (closed && wave_.bounds(window, kLoadGraphics).least >= track_.hang_below_v() &&
      wave_.bounds(window, kLoadProcessor).least >= track_.hang_below_v()) {
    below_ = 0;
    return;
  }
  wave_.samples(window, kLoadGraphics, graphics.data());
  wave_.samples(window, kLoadProcessor, processor.data());
  for (std::size_t n = 0; n < Responses::kWindow; ++n) {
    const bool below = std::min(graphics[n], processor[n]) < limit;
    below_ = below ? below_ + 1 : 0;
    if (below_ == kHangAfter) track_.stretch_below(window.from + kWindow);
  }
}

void Session::Body::window(Scan from) {
  plan_contact(from + kWindow);
  plan_mains(from);
  if (frozen_) {
    frozen_window(from);
  } else if (detailed_) {
    detail_window(from);
  } else {
    track_.advance(from + kWindow);
    if (must_simulate(from)) {
      // What has happened within the window happens again, scan by scan: the track is past it, the wave holds it.
      begin_detail(from);
      for (Scan scan = from; scan < from + kWindow; ++scan) {
        wave_.simulated(scan, last_);
        Surroundings here = surroundings(scan);
        wanted_[static_cast<std::size_t>(scan) % 3] = amps_of(wave_.levels_at(scan), false);
        for (std::size_t t = 0; t < sim::kTaps; ++t) here.amps[t] = (wanted_[0][t] + wanted_[1][t] + wanted_[2][t]) / 3;
        detail_.run(here);
        mains_edges(scan);
        last_ = detail_.reading();
      }
      truth_.simulated_s += static_cast<double>(kWindow) / kScansPerS;
    }
  }
}

void Session::Body::walk_limits(Scan first) {
  std::vector<proto::Excursion> ended;
  std::vector<ChipLimit>& limits = limits_.limits();
  for (std::size_t k = 0; k < limits.size(); ++k) {
    ChipLimit& limit = limits[k];
    const std::size_t c = limit.channel();
    auto& columns = columns_.windows().channels[c];
    auto& counts = limit.low() ? columns.below : columns.above;
    if (limit.idle() && !limit.beyond(limit.low() ? columns_.least(c) : columns_.most(c))) continue;
    for (std::size_t i = 0; i < wire::kWindowsPerBlock; ++i) {
      if (!limit.wants(columns.min[i], columns.max[i])) continue;
      const Scan from = first + static_cast<Scan>(i) * kWindow;
      const auto codes = capturer_.codes(from, c);
      ended.clear();
      counts[i] = limit.walk(from, codes, ended);
      for (const proto::Excursion& one : ended) limits_.tell(k, one, from + kWindow, events_);
      if (!ended.empty()) capturer_.excursion(static_cast<Scan>(ended.front().start_scan()));
    }
  }
  limits_.tell_storms(first + kBlock, events_);
}

void Session::Body::note_truth() {
  const wire::DecodedWindows& windows = columns_.windows();
  for (std::size_t i = 0; i < wire::kWindowsPerBlock; ++i) {
    if (!fully_on_[i]) continue;
    const bool inside = most_a_[i] <= 0.97 * plan_.label_12v_a;
    const bool outside = most_a_[i] >= 1.1 * plan_.label_12v_a;
    for (const auto& channel : jig_.channels()) {
      if (channel.kind != proto::CHANNEL_KIND_RAIL_VOLTAGE) continue;
      const double least = channel.value(windows.channels[channel.index].min[i]);
      const double most = channel.value(windows.channels[channel.index].max[i]);
      if (channel.rail == proto::RAIL_P12V) truth_.least_12v_v = std::min(truth_.least_12v_v, least);
      if (inside) {
        truth_.least[channel.index] = std::min(truth_.least[channel.index], least);
        truth_.most[channel.index] = std::max(truth_.most[channel.index], most);
      } else if (outside && channel.rail == proto::RAIL_P12V) {
        truth_.least_outside_v = std::min(truth_.least_outside_v, least);
      }
    }
  }
}

void Session::Body::fill(Scan first, host::decode::Sink& sink) {
  columns_.clear_counts();
  columns_.fill(windows_, wave_, noise_);
  walk_limits(first);
  note_truth();
  steps_.tell(first + kBlock, events_);
  for (const Scan at : steps_.told()) capturer_.step(at);
  for (const proto::Event& event : events_) sink.event(event);
  events_.clear();
  host::decode::WindowBatch batch;
  batch.first_scan = static_cast<std::uint64_t>(first);
  batch.scans_per_window = static_cast<std::uint32_t>(kWindow);
  batch.window_count = wire::kWindowsPerBlock;
  batch.armed_set = arm_.set();
  batch.windows = &columns_.windows();
  sink.windows(batch);
  capturer_.tell(first + kBlock, sink);
}

void Session::Body::feed(host::decode::Sink& sink) {
  const Scan end = scans_of(plan_.seconds) / kBlock * kBlock;
  for (Scan first = 0; first < end; first += kBlock) {
    for (std::size_t i = 0; i < wire::kWindowsPerBlock; ++i) {
      const Scan from = first + static_cast<Scan>(i) * kWindow;
      const double before = total_12v(wave_.levels());
      window(from);
      most_a_[i] = std::max(before, total_12v(wave_.levels()));
      for (auto step = wave_.steps().rbegin(); step != wave_.steps().rend() && step->at > from - 2 * kWindow; ++step) {
        most_a_[i] = std::max(most_a_[i], total_12v(step->before));
      }
      fully_on_[i] = on_ && from - on_since_ > scans_of(0.05);
      windows_[i] = wave_.window(from);
      watch_loads(windows_[i]);
    }
    fill(first, sink);
    wave_.forget(first + kBlock);
  }
  truth_.lock_ups = track_.lock_ups();
  truth_.presses = track_.presses();
}

Session::Session(const SessionPlan& plan, const host::model::Jig& jig, const proto::Configure& configure,
                 const proto::Arm& arm)
    : body_(std::make_unique<Body>(plan, jig, configure, arm)) {}
Session::~Session() = default;
void Session::feed(host::decode::Sink& sink) {
  body_->feed(sink);
}
const Truth& Session::truth() const {
  return body_->truth();
}

}  // namespace trial
