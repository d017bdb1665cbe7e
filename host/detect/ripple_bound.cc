// SPDX-License-Identifier: Apache-2.0
#include "host/detect/ripple_bound.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include <fmt/format.h>

#include "host/judge/uncertainty.h"
#include "host/judge/verdict.h"

namespace host::detect {
namespace {

using steadyrail::proto::Decision;
using steadyrail::proto::RippleBound;

constexpr double kShortS = 20e-3;
constexpr double kLongS = 100e-3;
constexpr double kRestS = 0.4;  // between stretches, so that an idle hour costs no more than a busy one; own choice
constexpr double kHighPassHz = 10;
constexpr double kToldTimes = 3;  // one frequency's line over the other's, where no adapter tells the mains; own choice
constexpr double kAdapterLeastV = 1;     // amplitude that shows the mains to be there
constexpr double kToneHz = 100e3;        // a usual switching frequency; common practice, no source
constexpr double kLineLeastShare = 0.5;  // of the line a window's mean must keep

double normal_below(double x) {
  return std::erfc(-x / std::numbers::sqrt2) / 2;
}

const steadyrail::proto::RippleLimit* limit_of(const steadyrail::proto::LimitSet& limits,
                                               steadyrail::proto::Rail rail) {
  for (const auto& row : limits.ripple()) {
    if (row.rail() == rail) return &row;
  }
  return nullptr;
}

void judge_row(const model::JigChannel& channel, const steadyrail::proto::LimitSet& limits, const RippleBound& row,
               steadyrail::proto::SessionResult& result) {
  const auto* limit = limit_of(limits, channel.rail);
  if (limit == nullptr) return;
  auto* verdict = result.add_verdicts();
  verdict->set_channel(channel.name);
  verdict->set_rail(channel.rail_label);
  verdict->set_quantity(steadyrail::proto::QUANTITY_RIPPLE);
  verdict->set_unit("V");
  verdict->set_side("high");
  verdict->set_limit(static_cast<double>(limit->most_uv()) * 1e-6);
  verdict->set_limit_status(limit->status());
  verdict->set_source(fmt::format("{}, {}", limits.document(), limit->table()));
  if (!row.refusal().empty()) {
    verdict->set_reason(row.refusal());
    return;
  }
  verdict->set_value(row.value());
  verdict->set_expanded_uncertainty(row.expanded_uncertainty());
  judge::Reading reading;
  reading.value = model::to_microvolts(row.value());
  reading.expanded = model::to_microvolts(row.expanded_uncertainty());
  const model::Microvolts most{static_cast<std::int32_t>(limit->most_uv())};
  if (judge::guard_banded(judge::Side::kHigh, reading, most) != Decision::DECISION_FAIL) {
    verdict->set_reason("not excluded: the limit is defined to 20 MHz, and this jig sees only some kHz of it");
    return;
  }
  judge::Grounds grounds;
  grounds.calibration_lack = channel.calibration_lack;
  grounds.limit_status = limit->status();
  const judge::Decided decided = judge::decide(judge::Side::kHigh, reading, most, grounds);
  verdict->set_decision(decided.decision);
  verdict->set_reason(decided.reason);
}

}  // namespace

double range_sigmas(double samples) {
  // The mean range is the integral of 1 - P(all below x) - P(all above x); the trapezoidal rule is all but exact for an
  // integrand this smooth that vanishes at both ends.
  constexpr double kReach = 10;
  constexpr int kSteps = 4000;
  const double h = 2 * kReach / kSteps;
  double sum = 0;
  for (int i = 0; i <= kSteps; ++i) {
    const double x = -kReach + h * i;
    sum += 1 - std::pow(normal_below(x), samples) - std::pow(normal_below(-x), samples);
  }
  return sum * h;
}

double least_ripple(double pp, double noise) {
  return std::sqrt(std::max(0.0, pp * pp - noise * noise));
}

double alias_hz(double tone_hz, double scan_rate_hz) {
  return std::abs(tone_hz - std::round(tone_hz / scan_rate_hz) * scan_rate_hz);
}

double weakened(std::span<const double> pole_hz, double tone_hz) {
  double square = 1;
  for (double pole : pole_hz) square *= 1 + (tone_hz / pole) * (tone_hz / pole);
  return std::sqrt(square);
}

double RippleWatch::Line::amplitude(double turn, double count) const {
  return 2 / count * std::sqrt(std::max(0.0, s1 * s1 + s2 * s2 - turn * s1 * s2));
}

RippleWatch::RippleWatch(const model::Jig& jig) : jig_(jig) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind == steadyrail::proto::CHANNEL_KIND_CURRENT) currents_.push_back(channel.index);
    const bool rail = channel.kind == steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE;
    if (!rail && channel.kind != steadyrail::proto::CHANNEL_KIND_AC_PRESENT) continue;
    Watch watch;
    watch.channel = channel.index;
    watch.rail = rail;
    watches_.push_back(std::move(watch));
  }
}

void RippleWatch::gap() {
  in_stretch_ = 0;
}

void RippleWatch::prepare(std::uint32_t scans) {
  scans_ = scans;
  in_stretch_ = 0;
  const double window_s = scans / jig_.scan_rate_hz();
  short_windows_ = static_cast<std::uint32_t>(std::ceil(kShortS / window_s - 1e-9));
  const double whole = kLongS / window_s;
  long_windows_ = std::abs(whole - std::round(whole)) < 1e-9 ? static_cast<std::uint32_t>(std::lround(whole)) : 0;
  for (std::size_t i = 0; i < kMainsHz.size(); ++i) {
    const double angle = 2 * std::numbers::pi * kMainsHz[i] * window_s;
    adapter_turn_[i] = 2 * std::cos(angle);
    turn_[i] = 2 * std::cos(2 * angle);
    kept_[i] = std::abs(std::sin(angle) / angle);  // of a line at 2f, averaged over the window
    if (kept_[i] < kLineLeastShare || 2 * angle > 0.9 * std::numbers::pi) long_windows_ = 0;
  }
  // Butterworth high-pass by the bilinear transform.
  const double k = std::tan(std::numbers::pi * kHighPassHz * window_s);
  const double norm = 1 / (1 + std::numbers::sqrt2 * k + k * k);
  b0_ = b2_ = norm;
  b1_ = -2 * norm;
  a1_ = 2 * (k * k - 1) * norm;
  a2_ = (1 - std::numbers::sqrt2 * k + k * k) * norm;
}

void RippleWatch::add(const Block& block) {
  if (block.scans != scans_) prepare(block.scans);
  if (!block.follows) gap();
  std::uint32_t quiet = block.on;
  for (std::size_t rail = 1; rail < judge::kRailCount; ++rail) quiet &= block.settled[rail];
  if (quiet == 0 || block.end() <= rest_until_) {
    in_stretch_ = 0;
    return;
  }
  for (std::uint32_t i = 0; i < block.count; ++i) {
    if ((quiet >> i & 1U) == 0 || block.start_of(i) < rest_until_) {
      in_stretch_ = 0;
      continue;
    }
    take(block, i);
  }
}

// A stretch begins with 20 ms whose mean the filter starts from: its own start would show as drift otherwise.
void RippleWatch::take(const Block& block, std::uint32_t window) {
  const std::uint32_t at = in_stretch_++;
  const bool warming = at < short_windows_;
  const std::uint32_t after = at - short_windows_;
  for (Watch& watch : watches_) {
    const auto& columns = block.windows->channels[watch.channel];
    const double mean = columns.mean_8[window] / 8.0;
    if (at == 0) watch.first_sum = 0;
    if (warming) {
      watch.first_sum += mean;
      continue;
    }
    if (after == 0) {
      watch.base = watch.first_sum / short_windows_;
      watch.z1 = watch.z2 = watch.taken = 0;
      watch.lines = {};
    }
    const double x = mean - watch.base;
    for (std::size_t k = 0; k < watch.lines.size(); ++k)
      watch.lines[k].add(x, watch.rail ? turn_[k] : adapter_turn_[k]);
    const double y = b0_ * x + watch.z1;
    watch.z1 = b1_ * x - a1_ * y + watch.z2;
    watch.z2 = b2_ * x - a2_ * y;
    // What the filter takes away moves within the window too: by no more than it moved since the last, and half of that
    // each way is left out so that nothing is read that was not there.
    const double taken = x - y;
    const double moved = std::abs(taken - watch.taken) / 2;
    watch.taken = taken;
    const double high = columns.max[window] - watch.base - taken - moved;
    const double low = columns.min[window] - watch.base - taken + moved;
    const std::uint32_t place = after % short_windows_;
    watch.high = place == 0 ? high : std::max(watch.high, high);
    watch.low = place == 0 ? low : std::min(watch.low, low);
    if (!watch.rail || place + 1 < short_windows_) continue;
    const double pp = std::max(watch.high - watch.low, 0.0) * std::abs(jig_.at(watch.channel)->per_code);
    watch.pp.add(pp);
    watch.most = std::max(watch.most, pp);
  }
  if (warming) return;
  const std::uint32_t whole = long_windows_ > 0 ? long_windows_ : short_windows_;
  if (after + 1 < whole) return;
  if (long_windows_ > 0) close_lines(block, window);
  in_stretch_ = 0;
  rest_until_ = block.start_of(window) + static_cast<std::uint64_t>(kRestS * jig_.scan_rate_hz());
}

void RippleWatch::close_lines(const Block& block, std::uint32_t window) {
  for (Watch& watch : watches_) {
    const model::JigChannel& channel = *jig_.at(watch.channel);
    for (std::size_t k = 0; k < watch.lines.size(); ++k) {
      const double codes = watch.lines[k].amplitude(watch.rail ? turn_[k] : adapter_turn_[k], long_windows_);
      watch.residue[k].add(codes * std::abs(channel.per_code) / (watch.rail ? kept_[k] : 1));
    }
    if (watch.rail) watch.load.add(load(block, window, channel.rail));
  }
}

double RippleWatch::load(const Block& block, std::uint32_t window, steadyrail::proto::Rail rail) const {
  double amps = 0;
  for (std::size_t current : currents_) {
    const model::JigChannel& channel = *jig_.at(current);
    if (channel.rail == rail) amps += channel.value(block.windows->channels[current].mean_8[window] / 8.0);
  }
  return amps;
}

/// Place of the mains frequency in kMainsHz; their number: not told.
std::size_t RippleWatch::mains_place(const Watch& watch) const {
  for (const Watch& other : watches_) {
    if (other.rail) continue;
    const double at_50 = other.residue[0].median().value_or(0);
    const double at_60 = other.residue[1].median().value_or(0);
    if (std::max(at_50, at_60) >= kAdapterLeastV) return at_50 >= at_60 ? 0 : 1;
  }
  const double at_50 = watch.residue[0].median().value_or(0);
  const double at_60 = watch.residue[1].median().value_or(0);
  if (at_50 > kToldTimes * at_60) return 0;
  if (at_60 > kToldTimes * at_50) return 1;
  return kMainsHz.size();
}

void RippleWatch::mains(const Watch& watch, RippleBound& out) const {
  out.set_mains_windows(static_cast<std::uint32_t>(std::min<std::uint64_t>(watch.residue[0].seen(), UINT32_MAX)));
  if (watch.residue[0].seen() == 0) return;
  const std::size_t place = mains_place(watch);
  if (place == kMainsHz.size()) return;
  out.set_mains_hz(kMainsHz[place]);
  out.set_mains_residue(*watch.residue[place].median());
  out.set_mains_load_a(watch.load.median().value_or(0));
}

void RippleWatch::row(const Watch& watch, RippleBound& out) const {
  const model::JigChannel& channel = *jig_.at(watch.channel);
  out.set_channel(channel.name);
  out.set_rail(channel.rail_label);
  out.set_unit("V");
  out.set_window_s(short_windows_ * scans_ / jig_.scan_rate_hz());
  out.set_windows_read(static_cast<std::uint32_t>(std::min<std::uint64_t>(watch.pp.seen(), UINT32_MAX)));
  out.set_source(steadyrail::proto::FIGURE_SOURCE_WINDOW);
  out.set_note(fmt::format("a tone of {:.0f} kHz would show at {:.1f} kHz, {:.0f} times smaller", kToneHz / 1e3,
                           alias_hz(kToneHz, jig_.scan_rate_hz()) / 1e3, weakened(channel.pole_hz, kToneHz)));
  mains(watch, out);
  const auto median = watch.pp.median();
  if (!median) {
    out.set_refusal(fmt::format("no stretch of {:.0f} ms in which no measured load moved", 2e3 * kShortS));
    return;
  }
  const double noise = range_sigmas(static_cast<double>(short_windows_) * scans_) * channel.noise_rms;
  out.set_noise_pp(noise);
  out.set_median_pp(*median);
  out.set_most_pp(watch.most);
  out.set_value(least_ripple(*median, noise));
  const double nominal = model::rail_nominal_v(channel.rail);
  out.set_expanded_uncertainty(judge::difference_uncertainty(channel, nominal, out.value(), 1, 1).expanded);
}

void RippleWatch::write(const steadyrail::proto::LimitSet* limits, steadyrail::proto::SessionResult& result) const {
  for (const Watch& watch : watches_) {
    if (!watch.rail) continue;
    RippleBound out;
    row(watch, out);
    if (limits != nullptr) judge_row(*jig_.at(watch.channel), *limits, out, result);
    *result.add_ripple_bounds() = std::move(out);
  }
}

}  // namespace host::detect
