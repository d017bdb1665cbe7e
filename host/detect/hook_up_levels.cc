// SPDX-License-Identifier: Apache-2.0
#include "host/detect/hook_up_levels.h"

#include <cmath>

#include <fmt/format.h>

#include "host/judge/uncertainty.h"

namespace host::detect {
namespace {

using steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE;

// Wide enough for any working supply, narrow enough that no rail is taken for another; own choice.
constexpr double kInPlaceShare = 0.2;
constexpr double kDeadV = 0.5;

double u_of(const model::JigChannel& channel, double volts) {
  constexpr double kSamples = 1000;
  const double u = judge::expanded_uncertainty(channel, volts, kSamples).expanded;
  return std::isfinite(u) ? u : 0;
}

bool in_place(steadyrail::proto::Rail rail, double volts) {
  const double nominal = model::rail_nominal_v(rail);
  return nominal != 0 && std::abs(volts - nominal) <= kInPlaceShare * std::abs(nominal);
}

/// " (+3.3V stands there)", for a reading that fits another rail.
std::string looks_like(double volts) {
  for (int rail = steadyrail::proto::Rail_MIN; rail <= steadyrail::proto::Rail_MAX; ++rail) {
    if (!steadyrail::proto::Rail_IsValid(rail)) continue;
    const auto candidate = static_cast<steadyrail::proto::Rail>(rail);
    if (in_place(candidate, volts)) return fmt::format(" (it looks like {})", model::rail_label(candidate));
  }
  return "";
}

}  // namespace

void LevelMeter::windows(const decode::WindowBatch& batch) {
  for (std::size_t i = 0; i < wire::kChannelCount; ++i) {
    for (std::uint32_t k = 0; k < batch.window_count; ++k) sum_8_[i] += batch.windows->channels[i].mean_8[k];
  }
  windows_ += batch.window_count;
}

std::optional<double> LevelMeter::volts(const model::JigChannel& channel) const {
  if (windows_ == 0) return std::nullopt;
  return channel.value(sum_8_[channel.index] / 8 / static_cast<double>(windows_));
}

LiveRails live_rails(const model::Jig& jig, const LevelMeter& levels, double most_v) {
  LiveRails out;
  double highest = -1;
  std::size_t read = 0;
  for (const model::JigChannel& channel : jig.channels()) {
    const auto volts = levels.volts(channel);
    if (channel.kind != CHANNEL_KIND_RAIL_VOLTAGE || !volts) continue;
    ++read;
    if (std::abs(*volts) > most_v + u_of(channel, *volts)) {
      out.wrong.push_back(fmt::format("{} at {} reads {:.2f} V, it must be below {:g} V", channel.rail_label,
                                      channel.name, *volts, most_v));
    }
    if (std::abs(*volts) <= highest) continue;
    highest = std::abs(*volts);
    out.highest = fmt::format("{} {:.3f} V", channel.name, *volts);
  }
  if (read > 0) out.highest = fmt::format("highest of {} outputs: {}", read, out.highest);
  return out;
}

RailPlaces rail_places(const model::Jig& jig, const LevelMeter& levels) {
  RailPlaces out;
  for (const model::JigChannel& channel : jig.channels()) {
    const auto volts = levels.volts(channel);
    if (channel.kind != CHANNEL_KIND_RAIL_VOLTAGE || !volts) continue;
    const bool standby = channel.rail == steadyrail::proto::RAIL_P5VSB;
    if (in_place(channel.rail, *volts)) {
      ++out.in_place;
    } else if (std::abs(*volts) <= kDeadV + u_of(channel, *volts)) {
      ++out.dead;
      if (standby) out.wrong.push_back(fmt::format("{} reads {:.2f} V: is the mains on?", channel.name, *volts));
    } else {
      out.wrong.push_back(
          fmt::format("{} reads {:.2f} V where {} belongs{}: mains off, and find out why before any PC is "
                      "connected",
                      channel.name, *volts, channel.rail_label, looks_like(*volts)));
    }
  }
  return out;
}

}  // namespace host::detect
