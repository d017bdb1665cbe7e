// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/compared_figures.h"

#include <algorithm>
#include <map>

#include <boost/math/distributions/binomial.hpp>

namespace host::diagnose {
namespace {

namespace proto = steadyrail::proto;

constexpr double kConfidence = 0.95;
constexpr std::size_t kDroopsLeast = 6;  // fewer have no such interval: 2 x 0.5^5 is above 5 %
constexpr double kStepLeastA = 2;

/// Median of `values` and half of its exact interval by order statistics, which asks for no distribution.
struct Median {
  double value = 0;
  double half_width = 0;
};

Median median(std::vector<double> values) {
  std::ranges::sort(values);
  const std::size_t n = values.size();
  const boost::math::binomial_distribution<> below(static_cast<double>(n), 0.5);
  // The greatest r with P(fewer than r below the median) at most half of what may be missed.
  std::size_t r = 0;
  while (r + 1 < n / 2 && boost::math::cdf(below, static_cast<double>(r)) <= (1 - kConfidence) / 2) ++r;
  const std::size_t low = r > 0 ? r - 1 : 0;
  Median out;
  out.value = n % 2 == 1 ? values[n / 2] : (values[n / 2 - 1] + values[n / 2]) / 2;
  out.half_width = std::max(out.value - values[low], values[n - 1 - low] - out.value);
  return out;
}

void add_levels(const proto::SessionResult& result, std::vector<SessionFigure>& out) {
  for (const char* word : {"mean", "lowest"}) {
    const bool mean = std::string_view(word) == "mean";
    for (const proto::ChannelFigures& one : result.channel_figures()) {
      if (mean ? !one.has_mean() : !one.has_lowest()) continue;
      SessionFigure& figure = out.emplace_back();
      figure = {word, one.channel(), one.rail(), one.unit()};
      figure.value = mean ? one.mean() : one.lowest();
      figure.uncertainty = mean ? one.difference_u() : one.sample_difference_u();
      figure.of_difference = true;
      figure.moves_with_load = true;
      if (one.has_load_a()) figure.load_a = one.load_a();
    }
  }
}

void add_resistances(const proto::SessionResult& result, std::vector<SessionFigure>& out) {
  const auto add = [&](const char* word, const auto& one) {
    if (!one.has_value() || !one.has_interval_low() || !one.has_interval_high()) return;
    SessionFigure& figure = out.emplace_back();
    figure = {word, one.channel(), one.rail(), one.unit()};
    figure.value = one.value();
    figure.uncertainty = std::max(one.interval_high() - one.value(), one.value() - one.interval_low());
  };
  for (const proto::OutputResistance& one : result.output_resistances()) add("output-resistance", one);
  for (const proto::ContactResistance& one : result.contact_resistances()) add("contact-resistance", one);
}

void add_droops(const proto::SessionResult& result, std::vector<SessionFigure>& out) {
  std::map<std::string, std::pair<std::string, std::vector<double>>> by_channel;
  for (const proto::EventResult& event : result.events()) {
    if (event.kind() != proto::EVENT_KIND_DROOP || event.step_a() < kStepLeastA || !event.has_deviation_v()) continue;
    auto& [rail, values] = by_channel[event.channel()];
    rail = event.rail();
    values.push_back(event.deviation_v() / event.step_a());
  }
  for (auto& [channel, found] : by_channel) {
    if (found.second.size() < kDroopsLeast) continue;
    const Median middle = median(std::move(found.second));
    SessionFigure& figure = out.emplace_back();
    figure = {"droop-per-ampere", channel, found.first, "ohm"};
    figure.value = middle.value;
    figure.uncertainty = middle.half_width;
  }
}

}  // namespace

std::vector<SessionFigure> session_figures(const proto::SessionResult& result) {
  std::vector<SessionFigure> out;
  add_levels(result, out);
  add_resistances(result, out);
  add_droops(result, out);
  return out;
}

}  // namespace host::diagnose
