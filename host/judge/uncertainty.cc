// SPDX-License-Identifier: Apache-2.0
#include "host/judge/uncertainty.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>

namespace host::judge {
namespace {

constexpr double kLeastValue = 0.1;  // V: nearer to zero an offset is no scale error

}  // namespace

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

Expanded expanded_uncertainty(const model::JigChannel& channel, double value, double samples) {
  Expanded result;
  result.standard = channel.standard_uncertainty(value, samples);
  if (channel.effective_dof > 0) {
    const double systematic = channel.standard_uncertainty(value, std::numeric_limits<double>::infinity());
    const double noise = std::sqrt(std::max(0.0, result.standard * result.standard - systematic * systematic));
    const std::array<Component, 2> parts = {Component{systematic, channel.effective_dof}, Component{noise, 0}};
    const double dof = effective_dof(parts);
    if (dof > 0) result.k = student_factor(kCoverage, dof);
  }
  result.expanded = result.k * result.standard;
  return result;
}

Expanded difference_uncertainty(const model::JigChannel& channel, double value, double difference, double samples_a,
                                double samples_b) {
  // What the calibration lumps together counts as scale error in full: the larger reading of it.
  const double scale = std::hypot(channel.u_gain, channel.u_other / std::max(std::abs(value), kLeastValue));
  const double converter = std::abs(channel.per_code) / std::sqrt(12.0);
  Expanded result;
  result.standard =
      std::hypot(scale * difference, converter, channel.noise_rms * std::sqrt(1 / samples_a + 1 / samples_b));
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
