// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/front_end.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "host/simulate/arithmetic.h"
#include "host/simulate/lanes.h"

namespace host::simulate {
namespace {

namespace proto = steadyrail::proto;

std::string complaint(const proto::Channel& channel, const std::string& what) {
  return "channel " + channel.name() + ": " + what;
}

/// Taps whose current this channel carries: those that name it, else the one on its own connector.
std::vector<std::size_t> current_signals(const proto::JigDescription& jig, const proto::Channel& channel) {
  std::vector<std::size_t> signals;
  for (const proto::Channel& other : jig.channels()) {
    if (other.kind() != proto::CHANNEL_KIND_RAIL_VOLTAGE || other.current_channel() != channel.name()) continue;
    const auto connector = connector_named(other.connector());
    const auto tap = connector ? tap_of(other.rail(), *connector) : std::nullopt;
    if (tap) signals.push_back(kTapCurrent + std::size_t{*tap});
  }
  if (!signals.empty()) return signals;
  const auto connector = connector_named(channel.connector());
  const auto tap = connector ? tap_of(channel.rail(), *connector) : std::nullopt;
  if (tap) signals.push_back(kTapCurrent + std::size_t{*tap});
  return signals;
}

bool mentions(const proto::Channel& channel, const char* word) {
  return channel.name().find(word) != std::string::npos || channel.connector().find(word) != std::string::npos;
}

/// Empty: the simulated PC has nothing there.
std::vector<std::size_t> signals_of(const proto::JigDescription& jig, const proto::Channel& channel) {
  switch (channel.kind()) {
    case proto::CHANNEL_KIND_RAIL_VOLTAGE: {
      const auto connector = connector_named(channel.connector());
      const auto tap = connector ? tap_of(channel.rail(), *connector) : std::nullopt;
      return tap ? std::vector<std::size_t>{kTapVolts + std::size_t{*tap}} : std::vector<std::size_t>{};
    }
    case proto::CHANNEL_KIND_CURRENT:
      return current_signals(jig, channel);
    case proto::CHANNEL_KIND_LOGIC:
      if (mentions(channel, "pwr-ok") || mentions(channel, "PWR_OK")) return {kPwrOk};
      if (mentions(channel, "ps-on") || mentions(channel, "PS_ON")) return {kPsOn};
      return {};
    case proto::CHANNEL_KIND_GROUND_OFFSET:
      if (mentions(channel, "graphics")) return {kOffsetGraphics};
      if (mentions(channel, "processor")) return {kOffsetProcessor};
      return {};
    case proto::CHANNEL_KIND_AC_PRESENT:
      return {kAcAdapter};
    case proto::CHANNEL_KIND_AUXILIARY:
      return {kAuxiliary};
    default:
      return {};
  }
}

/// True gain and offset of a channel: what its calibration found, plus an error drawn from what it claims. Without a
/// calibration the parts' tolerance speaks: 0.3 % (own figure for 0.1 % resistors and their reference).
std::array<double, 2> draw_scale(const proto::JigDescription& jig, const proto::Channel& channel, Random& random) {
  for (const proto::ChannelCalibration& entry : jig.calibration().channels()) {
    if (entry.channel() != channel.name()) continue;
    const double first = random.normal();
    const double second = random.normal();
    const double correlation = std::clamp(entry.correlation(), -1.0, 1.0);
    const double mixed = correlation * first + std::sqrt(1 - correlation * correlation) * second;
    const double rest = entry.u_other() * random.normal();
    return {entry.gain() + entry.u_gain() * first, entry.offset() + entry.u_offset() * mixed + rest};
  }
  return {1 + 0.003 * random.normal(), 0};
}

}  // namespace

std::array<double, 3> pole_update(double hz, double step_s) {
  const double ratio = 2 * std::numbers::pi * hz * step_s;
  const double keep = exponential(-ratio);
  const double average = (1 - keep) / ratio;
  // y' = keep y + (average - keep) x + (1 - average) x', with the part of x carried in the state.
  const double fresh = 1 - average;
  return {keep, keep * fresh + average - keep, fresh};
}

std::expected<FrontEnd, std::string> FrontEnd::create(const proto::JigDescription& jig, std::uint64_t seed,
                                                      double step_s) {
  FrontEnd front_end(seed);
  Random scales(seed, 1);
  front_end.first_signal_.fill(kNothing);
  for (Pole& pole : front_end.poles_) pole.fresh.fill(1);  // a pole not there passes everything
  for (const proto::Channel& channel : jig.channels()) {
    if (auto added = front_end.add(jig, channel, scales, step_s); !added) return std::unexpected(added.error());
  }
  return front_end;
}

std::expected<void, std::string> FrontEnd::add(const proto::JigDescription& jig, const proto::Channel& description,
                                               Random& random, double step_s) {
  if (description.index() >= channels_.size()) return std::unexpected(complaint(description, "index beyond 23"));
  Channel& channel = channels_[description.index()];
  if (channel.used) return std::unexpected(complaint(description, "its index is taken"));
  if (description.unit_per_code() == 0) return std::unexpected(complaint(description, "a scale of zero"));
  if (description.pole_hz_size() > static_cast<int>(kPolesMax)) {
    return std::unexpected(complaint(description, "more than four poles"));
  }
  channel.signals = signals_of(jig, description);
  if (channel.signals.empty()) {
    return std::unexpected(complaint(description, "the simulated PC has nothing there to measure"));
  }
  first_signal_[description.index()] = channel.signals[0];
  if (channel.signals.size() > 1) sums_.push_back({description.index(), {}});
  const auto [gain, offset] = draw_scale(jig, description, random);
  if (gain == 0) return std::unexpected(complaint(description, "a calibration gain of zero"));
  channel.used = true;
  channel.codes_per_unit = 1 / (gain * description.unit_per_code());
  channel.code_at_zero = (-offset / gain - description.unit_at_code_0()) / description.unit_per_code();
  channel.noise_codes = description.noise_code_rms();
  for (int i = 0; i < description.pole_hz_size(); ++i) {
    const double hz = description.pole_hz(i);
    if (!(hz > 0)) return std::unexpected(complaint(description, "a pole that is not above 0 Hz"));
    const auto [keep, stale, fresh] = pole_update(hz, step_s);
    Pole& pole = poles_[static_cast<std::size_t>(i)];
    pole.keep[description.index()] = keep;
    pole.stale[description.index()] = stale;
    pole.fresh[description.index()] = fresh;
    channel.pole_hz.push_back(hz);
  }
  pole_count_ = std::max(pole_count_, channel.pole_hz.size());
  return {};
}

// A few channels at a time stay in registers over the whole scan.
template <typename Several>
[[gnu::always_inline]] inline void FrontEnd::filter_with(const double* const* from) {
  constexpr std::size_t kTogether = kLanesOf<Several>;
  for (std::size_t begin = 0; begin < wire::kChannelCount; begin += kTogether) {
    std::array<Several, kSubSteps> row;  // lanes are channels
    for (std::size_t s = 0; s < kSubSteps; s += kTogether) turn_lanes(&row[s], from + begin, s);
    for (std::size_t p = 0; p < pole_count_; ++p) {
      Pole& pole = poles_[p];
      Several state, keep, stale, fresh;
      read_lanes(state, &pole.state[begin]);
      read_lanes(keep, &pole.keep[begin]);
      read_lanes(stale, &pole.stale[begin]);
      read_lanes(fresh, &pole.fresh[begin]);
#pragma GCC unroll 8
      for (std::size_t s = 0; s < kSubSteps; ++s) {
        const Several input = row[s];
        row[s] = state + fresh * input;
        state = keep * state + stale * input;
      }
      drop_vanished(state);
      write_lanes(state, &pole.state[begin]);
    }
    write_lanes(row.back(), &sampled_[begin]);
  }
}

void FrontEnd::settle(const Signals& signals) {
  for (std::size_t i = 0; i < channels_.size(); ++i) {
    sampled_[i] = 0;
    for (const std::size_t signal : channels_[i].signals) sampled_[i] += signals[signal].back();
    for (Pole& pole : poles_) pole.state[i] = (1 - pole.fresh[i]) * sampled_[i];
  }
}

void FrontEnd::run_scan(const Signals& signals) {
  std::array<const double*, wire::kChannelCount> from;
  for (std::size_t i = 0; i < from.size(); ++i) from[i] = signals[first_signal_[i]].data();
  for (Sum& sum : sums_) {
    sum.track = {};
    for (const std::size_t signal : channels_[sum.channel].signals) {
      for (std::size_t s = 0; s < kSubSteps; ++s) sum.track[s] += signals[signal][s];
    }
    from[sum.channel] = sum.track.data();
  }
#if HOST_HAS_WIDE
  if (machine_is_wide()) return filter_wide(from.data());
#endif
  filter_with<Pair>(from.data());
}

#if HOST_HAS_WIDE
HOST_WIDE void FrontEnd::filter_wide(const double* const* from) {
  filter_with<Quad>(from);
}
#endif

double FrontEnd::attenuation(const Channel& channel, double hz) const {
  double product = 1;
  for (const double pole_hz : channel.pole_hz) product *= 1 + (hz / pole_hz) * (hz / pole_hz);
  return 1 / std::sqrt(product);
}

void FrontEnd::set_ripple(const Ripple& main, const Ripple& standby) {
  for (Channel& channel : channels_) {
    if (!channel.used || channel.signals[0] >= kTaps) continue;
    const std::size_t tap = channel.signals[0];
    channel.main_ripple_codes = main.peak_v[tap] * attenuation(channel, main.hz) * channel.codes_per_unit;
    channel.standby_ripple_codes = standby.peak_v[tap] * attenuation(channel, standby.hz) * channel.codes_per_unit;
  }
}

void FrontEnd::sample(double main_sine, double standby_sine, std::array<std::int16_t, wire::kChannelCount>& codes) {
  for (std::size_t i = 0; i < channels_.size(); ++i) {
    const Channel& channel = channels_[i];
    if (!channel.used) {
      codes[i] = 0;
      continue;
    }
    const double code = sampled_[i] * channel.codes_per_unit + channel.code_at_zero +
                        main_sine * channel.main_ripple_codes + standby_sine * channel.standby_ripple_codes +
                        channel.noise_codes * noise_.normal();
    codes[i] = static_cast<std::int16_t>(std::clamp(std::floor(code + 0.5), -32768.0, 32767.0));
  }
}

}  // namespace host::simulate
