// SPDX-License-Identifier: Apache-2.0
#include "host/judge/uncertainty.h"

#include <algorithm>
#include <cmath>

#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>

namespace host::judge {
namespace {

constexpr double kLeastValue = 0.1;  // V: nearer to zero an offset is no scale error

}  // namespace

double propagated(std::span<const double> sensitivity, std::span<const double> covariance) {
  const std::size_t n = sensitivity.size();
  double variance = 0;
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t k = 0; k < n; ++k) variance += sensitivity[i] * sensitivity[k] * covariance[i * n + k];
  }
  return std::sqrt(std::max(variance, 0.0));
}

double combined(std::span<const Component> components) {
  double variance = 0;
  for (const Component& component : components) variance += component.u * component.u;
  return std::sqrt(variance);
}

double effective_dof(std::span<const Component> components) {
  double variance = 0;
  double spread = 0;
  for (const Component& component : components) {
    const double square = component.u * component.u;
    variance += square;
    if (component.dof > 0) spread += square * square / component.dof;
  }
  return spread > 0 ? variance * variance / spread : 0;
}

double student_factor(double p, double dof) {
  const double tail = (1 - p) / 2;
  if (!(dof > 0)) return boost::math::quantile(boost::math::complement(boost::math::normal(), tail));
  const double whole = std::max(1.0, std::floor(dof));
  return boost::math::quantile(boost::math::complement(boost::math::students_t(whole), tail));
}

Budget budget(const model::JigChannel& channel, double value, double samples) {
  const std::array<double, 2> sensitivity = {channel.nominal(value), 1};
  // The fit's slope and intercept are correlated; leaving the covariance out would overstate the middle of the range.
  const double mixed = channel.correlation * channel.u_gain * channel.u_offset;
  const std::array<double, 4> covariance = {channel.u_gain * channel.u_gain, mixed, mixed,
                                            channel.u_offset * channel.u_offset};
  const double told = std::hypot(channel.u_converter, channel.u_temperature, channel.u_age);
  Budget budget;
  budget.calibration = {propagated(sensitivity, covariance), channel.effective_dof};
  budget.converter = {channel.u_converter, 0};
  budget.temperature = {channel.u_temperature, 0};
  budget.age = {channel.u_age, 0};
  budget.other = {std::sqrt(std::max(0.0, channel.u_other * channel.u_other - told * told)), 0};
  budget.noise = {channel.noise_rms / std::sqrt(samples), 0};
  return budget;
}

Expanded expanded_uncertainty(const model::JigChannel& channel, double value, double samples) {
  const auto parts = budget(channel, value, samples).parts();
  Expanded result;
  result.standard = combined(parts);
  if (const double dof = effective_dof(parts); dof > 0) result.k = student_factor(kCoverage, dof);
  result.expanded = result.k * result.standard;
  return result;
}

Expanded difference_uncertainty(const model::JigChannel& channel, double value, double difference, double samples_a,
                                double samples_b) {
  const Budget one = budget(channel, value, 1);
  // What does not cancel by itself counts as scale error in full, the larger reading of it.
  const double drift = std::hypot(one.temperature.u, one.age.u, one.other.u) / std::max(std::abs(value), kLeastValue);
  const double quantisation = std::abs(channel.per_code) / std::sqrt(12.0);
  Expanded result;
  result.standard = std::hypot(std::hypot(channel.u_gain, drift) * difference, std::max(one.converter.u, quantisation),
                               channel.noise_rms * std::sqrt(1 / samples_a + 1 / samples_b));
  result.expanded = result.k * result.standard;
  return result;
}

double noise_extreme_sigmas(double samples) {
  if (!(samples >= 2)) return 0;
  // Phi(z)^N = 1/2, solved for the tail: 1 - 2^(-1/N) without cancellation.
  const double tail = -std::expm1(-std::log(2.0) / samples);
  return boost::math::quantile(boost::math::complement(boost::math::normal(), tail));
}

}  // namespace host::judge
