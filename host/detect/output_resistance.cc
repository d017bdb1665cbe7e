// SPDX-License-Identifier: Apache-2.0
#include "host/detect/output_resistance.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "host/detect/robust_fit.h"
#include "host/detect/theil_sen.h"

namespace host::detect {
namespace {

using steadyrail::proto::FigureSource;
using steadyrail::proto::OutputResistance;

constexpr double kMeanSamples = 32;    // of a settled mean
constexpr double kIndependentA = 0.3;  // root mean square of what a current does apart from the others; own choice
constexpr std::size_t kOthersMost = 6;
constexpr std::size_t kPointsPerColumn = 5;  // before other currents are taken out; common practice, no source
constexpr double kUncalibratedShare = 0.03;  // gain of a current channel that nobody compared; own choice

using Columns = std::vector<std::vector<double>>;

double mean(std::span<const double> values) {
  double sum = 0;
  for (double v : values) sum += v;
  return values.empty() ? 0 : sum / static_cast<double>(values.size());
}

/// What is left of `column` when all that runs with `basis` (centred, orthogonal) is taken away, centred.
std::vector<double> apart(std::span<const double> column, const Columns& basis) {
  std::vector<double> rest(column.begin(), column.end());
  const double middle = mean(rest);
  for (double& v : rest) v -= middle;
  for (const auto& one : basis) {
    double product = 0;
    double square = 0;
    for (std::size_t i = 0; i < rest.size(); ++i) {
      product += rest[i] * one[i];
      square += one[i] * one[i];
    }
    if (!(square > 0)) continue;
    for (std::size_t i = 0; i < rest.size(); ++i) rest[i] -= product / square * one[i];
  }
  return rest;
}

double root_mean_square(std::span<const double> values) {
  double sum = 0;
  for (double v : values) sum += v * v;
  return values.empty() ? 0 : std::sqrt(sum / static_cast<double>(values.size()));
}

/// Every current the jig sees: another rail's load can move a rail too.
std::vector<const model::JigChannel*> currents_of(const model::Jig& jig) {
  std::vector<const model::JigChannel*> currents;
  for (const auto& channel : jig.channels()) {
    if (channel.kind == steadyrail::proto::CHANNEL_KIND_CURRENT) currents.push_back(&channel);
  }
  return currents;
}

/// Fits one voltage against one load from one source's points.
class Fit {
 public:
  Fit(const model::JigChannel& channel, std::vector<const model::JigChannel*> currents, const PointStore& store)
      : channel_(channel), currents_(std::move(currents)), amps_(currents_.size()), sum_(0) {
    for (const SettledPoint& point : store.points()) {
      if (!point.has(rail_bit(channel.rail))) continue;
      volts_.push_back(static_cast<double>(point.values[channel.index]));
      double sum = 0;
      for (std::size_t k = 0; k < currents_.size(); ++k) {
        amps_[k].push_back(static_cast<double>(point.values[currents_[k]->index]));
        if (of_rail(k)) sum += amps_[k].back();
      }
      sum_.push_back(sum);
    }
  }

  OutputResistance run() {
    OutputResistance out;
    out.set_channel(channel_.name);
    out.set_rail(channel_.rail_label);
    out.set_unit("ohm");
    out.set_points(static_cast<std::uint32_t>(volts_.size()));
    const auto own = std::ranges::find_if(
        currents_, [&](const model::JigChannel* current) { return channel_.current == current->index; });
    const auto place = static_cast<std::size_t>(own - currents_.begin());
    const bool has_own = own != currents_.end();
    if (has_own && too_little_spread(amps_[place]).empty()) {
      out.set_current_channel((*own)->name);
      against(amps_[place], place, out);
      return out;
    }
    if (too_little_spread(sum_).empty()) {
      out.set_current_channel("sum of " + channel_.rail_label);
      against(sum_, currents_.size(), out);
      return out;
    }
    if (has_own) out.set_current_channel((*own)->name);
    spread(has_own ? amps_[place] : sum_, out);
    out.set_refusal(has_own ? too_little_spread(amps_[place])
                            : "no current channel carries its load, and the rail's others hardly moved");
    return out;
  }

 private:
  bool of_rail(std::size_t k) const { return currents_[k]->rail == channel_.rail; }
  bool in_load(std::size_t k, std::size_t own) const { return own < currents_.size() ? k == own : of_rail(k); }

  static void spread(std::span<const double> amps, OutputResistance& out) {
    if (amps.empty()) return;
    const auto [least, most] = std::ranges::minmax(amps);
    out.set_current_least_a(least);
    out.set_current_most_a(most);
    out.set_levels(static_cast<std::uint32_t>(distinct_levels(amps, kLeastPairA)));
  }

  /// `own`: place of the load among the currents; their number for the sum of all.
  void against(const std::vector<double>& load, std::size_t own, OutputResistance& out) {
    spread(load, out);
    const std::vector<double> volts = without_others(load, own, out);
    const auto line = theil_sen(load, volts, kLeastPairA);
    if (!line) {
      out.set_refusal("no two levels of load far enough apart");
      return;
    }
    const double most = std::max(std::abs(out.current_least_a()), std::abs(out.current_most_a()));
    double gain = 0;
    double noise = 0;
    for (std::size_t k = 0; k < currents_.size(); ++k) {
      if (!in_load(k, own)) continue;
      gain = std::max(gain, gain_u(*currents_[k], most));
      noise = std::hypot(noise, currents_[k]->noise_rms / std::sqrt(kMeanSamples));
    }
    const double value = -line->slope;
    const double calibration = 2 * gain * value;
    out.set_value(value);
    out.set_interval_low(value - std::hypot(value + line->high, calibration));
    out.set_interval_high(value + std::hypot(-line->low - value, calibration));
    out.set_open_circuit_v(line->intercept);
    out.set_attenuation(attenuation(load, noise));
  }

  /// The voltages less what other currents did that moved by themselves, those at their medians.
  std::vector<double> without_others(const std::vector<double>& load, std::size_t own, OutputResistance& out) const {
    Columns basis{apart(load, {})};
    Columns chosen{load};
    std::vector<std::size_t> places;
    for (std::size_t k = 0; k < currents_.size() && places.size() < kOthersMost; ++k) {
      if (in_load(k, own)) continue;
      std::vector<double> rest = apart(amps_[k], basis);
      if (root_mean_square(rest) < kIndependentA) continue;
      basis.push_back(std::move(rest));
      chosen.push_back(amps_[k]);
      places.push_back(k);
    }
    std::vector<double> volts = volts_;
    const bool enough = volts.size() >= kPointsPerColumn * (chosen.size() + 1);
    if (places.empty() || !enough || condition_number(chosen) > kConditionMost) return volts;
    const auto fit = robust_fit(chosen, volts_);
    if (!fit) return volts;
    for (std::size_t j = 0; j < places.size(); ++j) {
      const double usual = median_of(chosen[j + 1]);
      for (std::size_t i = 0; i < volts.size(); ++i) volts[i] -= fit->slopes[j + 1] * (chosen[j + 1][i] - usual);
      out.add_taken_out(currents_[places[j]]->name);
    }
    return volts;
  }

  const model::JigChannel& channel_;
  std::vector<const model::JigChannel*> currents_;
  std::vector<double> volts_;
  Columns amps_;  // by current
  std::vector<double> sum_;
};

}  // namespace

std::string too_little_spread(std::span<const double> amps) {
  if (amps.empty()) return "no settled level was seen";
  const auto [least, most] = std::ranges::minmax(amps);
  const std::size_t levels = distinct_levels(amps, kLeastPairA);
  if (most - least >= kLeastSpanA && levels >= kLeastLevels) return {};
  return fmt::format("not enough spread: {} settled {} over {:.1f} A, {} over {:.0f} A required", levels,
                     levels == 1 ? "level" : "levels", most - least, kLeastLevels, kLeastSpanA);
}

double attenuation(std::span<const double> amps, double u_a) {
  const double middle = mean(amps);
  double squares = 0;
  for (double a : amps) squares += (a - middle) * (a - middle);
  const double variance = amps.size() > 1 ? squares / static_cast<double>(amps.size() - 1) : 0;
  return variance > 0 ? 1 / (1 + u_a * u_a / variance) : 0;
}

double gain_u(const model::JigChannel& current, double most_a) {
  if (!current.calibrated) return kUncalibratedShare;
  return std::hypot(current.u_gain, current.u_other / std::max(most_a, kLeastSpanA));
}

void write_output_resistances(const model::Jig& jig, const SettledLevels& levels,
                              steadyrail::proto::SessionResult& result) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE) continue;
    const auto currents = currents_of(jig);
    const auto same = [&](const auto* current) { return current->rail == channel.rail; };
    if (std::ranges::none_of(currents, same)) continue;
    OutputResistance row = Fit(channel, currents, levels.chip()).run();
    row.set_source(FigureSource::FIGURE_SOURCE_CHIP);
    if (!row.refusal().empty()) {
      OutputResistance other = Fit(channel, currents, levels.window()).run();
      other.set_source(FigureSource::FIGURE_SOURCE_WINDOW);
      if (other.refusal().empty() || other.points() > row.points()) row = std::move(other);
    }
    *result.add_output_resistances() = std::move(row);
  }
}

}  // namespace host::detect
