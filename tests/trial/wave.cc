// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/wave.h"

#include <algorithm>
#include <cmath>
#include <cstring>

#include "host/simulate/arithmetic.h"

namespace trial {
namespace {

constexpr Scan kWindow = static_cast<Scan>(Responses::kWindow);

using Four = float __attribute__((vector_size(16), aligned(4)));

/// out += factor from, 32 values.
void add(float* out, const float* from, float factor) {
  for (std::size_t i = 0; i < Responses::kWindow; i += 4) {
    Four a, b;
    std::memcpy(&a, out + i, sizeof a);
    std::memcpy(&b, from + i, sizeof b);
    a += factor * b;
    std::memcpy(out + i, &a, sizeof a);
  }
}

}  // namespace

Wave::Wave(const Responses& responses, const Levels& levels, const Mains& mains, const Drift& drift)
    : responses_(responses),
      mains_(mains),
      drift_(drift),
      levels_(levels),
      readings_(static_cast<std::size_t>(kKept)),
      simulated_(static_cast<std::size_t>(kKept / kWindow), -1) {
  for (std::size_t i = 0; i < adapter_.size(); ++i) {
    const double turns = mains.turns + static_cast<double>(i) * mains.hz / kScansPerS;
    adapter_[i] = static_cast<float>(mains.zero_code + mains.peak_codes * host::simulate::sine_of_turns(turns));
  }
  for (std::size_t w = 0; w < adapter_over_.size(); ++w) {
    const auto begin = adapter_.begin() + static_cast<std::ptrdiff_t>(w) * kWindow;
    const auto [least, most] = std::minmax_element(begin, begin + kWindow);
    adapter_over_[w].least = static_cast<double>(*least);
    adapter_over_[w].most = static_cast<double>(*most);
    for (auto code = begin; code != begin + kWindow; ++code) {
      adapter_over_[w].mean += static_cast<double>(*code) / static_cast<double>(kWindow);
    }
  }
  for (std::size_t w = 0; w < residue_.size(); ++w) {
    const double scan = (static_cast<double>(w) + 0.5) * static_cast<double>(kWindow);
    residue_[w] = host::simulate::sine_of_turns(2 * (mains.turns + scan * mains.hz / kScansPerS));
  }
}

void Wave::step(Scan at, Source source, double amps) {
  const double delta = amps - levels_[source];
  steps_.push_back({at, source, delta, levels_});
  levels_[source] = amps;
}

bool Wave::contact_open(Scan from) const {
  return std::ranges::any_of(openings_,
                             [&](const auto& one) { return one.first < from + kWindow && from < one.second; });
}

void Wave::simulated(Scan scan, const Reading& reading) {
  readings_[static_cast<std::size_t>(scan % kKept)] = reading;
  simulated_[static_cast<std::size_t>(scan / kWindow % (kKept / kWindow))] = scan / kWindow;
}

void Wave::forget(Scan now) {
  const Scan from = now - kKept - responses_.reach();
  const auto kept = std::ranges::find_if(steps_, [&](const Step& step) { return step.at >= from; });
  steps_.erase(steps_.begin(), kept);
  while (!openings_.empty() && openings_.front().second < from) openings_.pop_front();
}

Levels Wave::levels_at(Scan scan) const {
  const auto later = std::ranges::find_if(steps_, [&](const Step& step) { return step.at > scan; });
  return later == steps_.end() ? levels_ : later->before;
}

Wave::Window Wave::window(Scan from) const {
  Window out;
  out.from = from;
  // A window may begin anywhere; simulated counts where it lies wholly inside.
  out.simulated =
      from % kWindow == 0 && simulated_[static_cast<std::size_t>(from / kWindow % (kKept / kWindow))] == from / kWindow;
  std::size_t end = steps_.size();
  while (end > 0 && steps_[end - 1].at >= from + kWindow) --end;
  std::size_t first = end;
  while (first > 0 && steps_[first - 1].at > from - responses_.reach()) --first;
  for (std::size_t i = first; i < end; ++i) out.moved |= responses_.felt(steps_[i].source);
  out.first = first;
  out.end = end;
  out.settled = first < steps_.size() ? steps_[first].before : levels_;
  if (contact_ && contact_open(from)) out.moved |= 1U << contact_->channel | 1U << kLoadGraphics;
  if (out.simulated) out.moved = (1U << kSeen) - 1;
  return out;
}

double Wave::addition(const Window& window, std::size_t channel) const {
  if (channel >= wire::kChannelCount) return 0;
  double out = 0;
  if (residue_per_a_[channel] != 0) {
    const auto phase = static_cast<std::size_t>(window.from / kWindow % static_cast<Scan>(residue_.size()));
    out += residue_per_a_[channel] * total_12v(window.settled) * residue_[phase];
  }
  if (drift_.codes[channel] != 0 && window.from > drift_.begin) {
    const double share = static_cast<double>(window.from - drift_.begin) /
                         static_cast<double>(std::max<Scan>(1, drift_.full - drift_.begin));
    out += drift_.codes[channel] * std::min(1.0, share);
  }
  return out;
}

Wave::Bounds Wave::bounds(const Window& window, std::size_t channel) const {
  if (channel == mains_.channel) return adapter_over_[static_cast<std::size_t>(window.from / kWindow % 20)];
  Bounds out;
  double widest = 0;  // the one whose bounds are exact
  out.mean = out.least = out.most = at_rest(window, channel) + addition(window, channel);
  for (std::size_t i = window.first; i < window.end; ++i) {
    const Step& step = steps_[i];
    if ((responses_.felt(step.source) >> channel & 1U) == 0) {
      const double shift = responses_.per_amp(channel, step.source) * step.delta;
      out.mean += shift;
      out.least += shift;
      out.most += shift;
      continue;
    }
    const Responses::Over& over = responses_.over(channel, step.source, window.from - step.at);
    const double least = static_cast<double>(over.least) * step.delta;
    const double most = static_cast<double>(over.most) * step.delta;
    out.mean += static_cast<double>(over.mean) * step.delta;
    out.least += std::min(least, most);
    out.most += std::max(least, most);
    const double spread = std::abs(most - least);
    out.doubt += std::min(spread, widest);
    widest = std::max(widest, spread);
  }
  return out;
}

double Wave::mains_code(Scan scan) const {
  return static_cast<double>(adapter_[static_cast<std::size_t>(scan % 640)]);
}

void Wave::samples(const Window& window, std::size_t channel, float* out) const {
  if (window.simulated) {
    for (Scan n = 0; n < kWindow; ++n) {
      out[n] = readings_[static_cast<std::size_t>((window.from + n) % kKept)][channel];
    }
    return;
  }
  if (channel == mains_.channel) {
    for (Scan n = 0; n < kWindow; ++n) out[n] = static_cast<float>(mains_code(window.from + n));
    return;
  }
  std::fill_n(out, Responses::kWindow, static_cast<float>(at_rest(window, channel) + addition(window, channel)));
  for (std::size_t i = window.first; i < window.end; ++i) {
    const Step& step = steps_[i];
    if ((responses_.felt(step.source) >> channel & 1U) == 0) {
      add(out, responses_.rise(channel, step.source, responses_.reach()), static_cast<float>(step.delta));
      continue;
    }
    add(out, responses_.rise(channel, step.source, window.from - step.at), static_cast<float>(step.delta));
  }
  const bool behind = contact_ && (channel == contact_->channel || channel == kLoadGraphics);
  if (!behind || !contact_open(window.from)) return;
  std::array<float, Responses::kWindow> amps;
  samples(window, contact_->current, amps.data());
  const double drop = channel == kLoadGraphics ? contact_->volts_per_code : contact_->codes_per_code;
  for (Scan n = 0; n < kWindow; ++n) {
    const Scan scan = window.from + n;
    const bool open =
        std::ranges::any_of(openings_, [&](const auto& one) { return one.first <= scan && scan < one.second; });
    if (!open) continue;
    const double current = static_cast<double>(amps[static_cast<std::size_t>(n)]) - contact_->current_zero;
    out[n] -= static_cast<float>(drop * current);
  }
}

}  // namespace trial
