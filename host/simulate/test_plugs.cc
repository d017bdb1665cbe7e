// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/test_plugs.h"

#include <algorithm>
#include <cmath>

#include "host/simulate/front_end.h"

namespace host::simulate {
namespace {

constexpr double kCodes = 65536;
constexpr int kSubStepsOfAScan = 64;
constexpr double kSettledV = 1e-7;
constexpr double kTapOhm = 1000;  // at the tap, before the lead and its clamp
constexpr int kLeakRounds = 60;
constexpr std::uint32_t kFirstLink = 24;

/// Gauss and Jordan. Every pivot is a sum of conductances: none is zero.
void eliminate(std::vector<std::vector<double>>& a) {
  for (std::size_t k = 0; k < a.size(); ++k) {
    for (std::size_t row = 0; row < a.size(); ++row) {
      if (row == k) continue;
      const double factor = a[row][k] / a[k][k];
      for (std::size_t column = k; column <= a.size(); ++column) a[row][column] -= factor * a[k][column];
    }
  }
}

}  // namespace

std::expected<TestPlugs, std::string> TestPlugs::create(const steadyrail::proto::JigDescription& jig,
                                                        const steadyrail::proto::TestSetup& setup, std::uint64_t seed,
                                                        std::span<const std::string> faults) {
  TestPlugs plugs(seed);
  if (auto built = plugs.build(jig, setup); !built) return std::unexpected(built.error());
  for (const std::string& fault : faults) {
    if (auto placed = plugs.place(fault, setup); !placed) return std::unexpected(placed.error());
  }
  plugs.join({});
  for (Channel& channel : plugs.channels_) {
    channel.input_v = channel.coming_v;
    std::ranges::fill(channel.state, channel.coming_v);
    channel.settled = true;
    channel.wait = 0;
  }
  return plugs;
}

double TestPlugs::drawn(double nominal, double tolerance) {
  return nominal * (1 + tolerance * random_.uniform(-1, 1));
}

TestPlugs::Joined TestPlugs::joined(const wire::JigOutputs& outputs) const {
  Joined out;
  out.level_v = level_v_[outputs.source_level & 7];
  out.source_ohm = outputs.source_weak != 0 ? weak_ohm_ : strong_ohm_;
  out.taps.assign(inputs_.size(), false);
  for (std::size_t i = 0; i < inputs_.size(); ++i) {
    // A lead soldered to another plug's tap brings that tap's source.
    out.taps[i] = (outputs.source_outputs >> inputs_[inputs_[i].lead_at].channel & 1) != 0;
  }
  for (std::size_t k = 0; k < link_inputs_.size(); ++k) {
    const bool on = (outputs.source_outputs >> (kFirstLink + k) & 1) != 0 && (links_open_ >> k & 1) == 0;
    if (on && link_inputs_[k] < inputs_.size()) out.taps[link_inputs_[k]] = true;
  }
  return out;
}

// Unknowns: the source's bus, then each group's ground above its return. Converter volts of each input come out, and
// through `leads` the voltage at each lead's clamp.
std::vector<double> TestPlugs::solve(const Joined& joined, const std::vector<double>& leaks,
                                     std::vector<double>& leads) const {
  const std::size_t n = 1 + groups_.size();
  std::vector<std::vector<double>> a(n, std::vector<double>(n + 1, 0));
  a[0][0] = 1 / joined.source_ohm;
  a[0][n] = joined.level_v / joined.source_ohm;
  for (std::size_t g = 0; g < groups_.size(); ++g) a[g + 1][g + 1] = 1 / groups_[g].tie;
  for (std::size_t i = 0; i < inputs_.size(); ++i) {
    const Input& in = inputs_[i];
    const bool on = joined.taps[i] && !in.lead_off;
    if (in.attenuation > 0) {  // what flows back out of the divider into the bus is a hundredth of a per cent
      if (on) a[0][0] += in.attenuation / in.attenuation_ohm;
      continue;
    }
    const std::size_t g = in.group + 1;
    const double down = 1 / (in.upper[0] + in.lower[0]);
    if (!in.one_leg && !in.return_off) a[g][g] += 1 / (in.upper[1] + in.lower[1]);
    if (on) {
      // The leak leaves at the lead, 1 kohm behind the tap, towards the group's ground.
      const double leak_share = (in.upper[0] + in.lower[0] - kTapOhm) * down;
      a[0][0] += down + (in.bleed > 0 ? 1 / in.bleed : 0);
      a[0][n] += in.end_v * down - leaks[i] * leak_share;
      if (in.one_leg) continue;
      a[0][g] -= down;
      a[g][0] -= down;
      a[g][g] += down;
      a[g][n] += -in.end_v * down + leaks[i] * leak_share;
    } else if (in.bleed > 0) {
      const double out = 1 / (in.upper[0] + in.lower[0] + in.bleed);
      a[g][g] += out;
      a[g][n] -= in.end_v * out;
    }
  }
  eliminate(a);
  std::vector<double> volts(inputs_.size());
  for (std::size_t i = 0; i < inputs_.size(); ++i) {
    const Input& in = inputs_[i];
    const bool on = joined.taps[i] && !in.lead_off;
    const double bus = a[0][n] / a[0][0];
    const double ground = in.one_leg ? 0 : a[in.group + 1][n] / a[in.group + 1][in.group + 1];
    const double divider = in.upper[0] + in.lower[0];
    double tap = ground + in.end_v;  // open
    if (on) {
      tap = bus;
    } else if (in.bleed > 0) {
      tap = (ground + in.end_v) * in.bleed / (divider + in.bleed);
    }
    if (in.gain > 0) {
      // The plug's attenuator stays across the tap, joined or not.
      const double driven = on ? bus * in.attenuation : 0;
      const double at_tap = (driven * divider + in.end_v * in.attenuation_ohm) / (divider + in.attenuation_ohm);
      volts[i] = in.at_zero_v + in.gain * at_tap;
      continue;
    }
    const double leak = on ? leaks[i] : 0;
    const double through = (tap - ground - in.end_v - leak * kTapOhm) / divider;  // behind the lead
    leads[i] = tap - kTapOhm * (through + leak);
    const double mid = ground + in.end_v + through * in.lower[0];
    const double lower_mid = in.one_leg      ? 0
                             : in.return_off ? ground
                                             : ground * in.upper[1] / (in.upper[1] + in.lower[1]);
    volts[i] = mid - lower_mid;
  }
  return volts;
}

void TestPlugs::join(const wire::JigOutputs& outputs) {
  const Joined now = joined(outputs);
  std::vector<double> leaks(inputs_.size(), 0);
  std::vector<double> leads(inputs_.size(), 0);
  std::vector<double> volts = solve(now, leaks, leads);
  const bool leaky = std::ranges::any_of(inputs_, [](const Input& in) { return in.leak_a > 0; });
  for (int round = 0; leaky && round < kLeakRounds; ++round) {
    for (std::size_t i = 0; i < inputs_.size(); ++i) {
      const double share = leads[i] / 12;
      leaks[i] = (leaks[i] + inputs_[i].leak_a * share * share * share) / 2;
    }
    volts = solve(now, leaks, leads);
  }
  const std::vector<double> before = volts;
  for (const CrossTalk& talk : cross_talk_) {
    if (now.taps[talk.from]) volts[talk.to] += talk.share * before[talk.from];
  }
  for (std::size_t i = 0; i < inputs_.size(); ++i) channels_[inputs_[i].channel].rest_v = volts[i];
  for (Channel& channel : channels_) {
    if (!channel.used) continue;
    const double bow = 4 * bow_codes_ * full_scale_v_ / kCodes * (channel.rest_v / full_scale_v_) *
                       (1 - channel.rest_v / full_scale_v_);
    const double coming = channel.rest_v * channel.scale + channel.offset_v + bow;
    if (coming == channel.coming_v) continue;
    channel.coming_v = coming;
    channel.wait = channel.delay;
    channel.settled = false;
  }
}

void TestPlugs::advance(Channel& channel) {
  if (channel.settled) return;
  double miss = std::abs(channel.coming_v - channel.input_v);
  for (int s = 0; s < kSubStepsOfAScan; ++s) {
    if (channel.wait == 0) channel.input_v = channel.coming_v;
    if (channel.wait > 0) --channel.wait;
    double into = channel.input_v;
    for (std::size_t p = 0; p < channel.state.size(); ++p) {
      channel.state[p] = into + (channel.state[p] - into) * channel.keep[p];
      into = channel.state[p];
    }
  }
  for (const double state : channel.state) miss = std::max(miss, std::abs(state - channel.coming_v));
  channel.settled = channel.wait == 0 && miss < kSettledV;
}

void TestPlugs::next_block(wire::ScanCodes& codes, std::vector<wire::ScanEdge>& edges,
                           const wire::JigOutputs& outputs) {
  edges.clear();
  if (outputs.source_outputs != outputs_ || outputs.source_level != level_ || outputs.source_weak != weak_) {
    outputs_ = outputs.source_outputs;
    level_ = outputs.source_level;
    weak_ = outputs.source_weak;
    join(outputs);
  }
  for (auto& scan : codes) {
    for (std::size_t c = 0; c < channels_.size(); ++c) {
      Channel& channel = channels_[c];
      if (!channel.used) {
        scan[c] = 0;
        continue;
      }
      const double volts = channel.state.empty() ? channel.input_v : channel.state.back();
      const double code = kCodes * volts / full_scale_v_ - kCodes / 2 + channel.noise_codes * noise_.normal();
      scan[c] = static_cast<std::int16_t>(std::clamp(std::floor(code + 0.5), -32768.0, 32767.0));
      advance(channel);
    }
    ++scan_;
  }
}

}  // namespace host::simulate
