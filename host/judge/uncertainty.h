// SPDX-License-Identifier: Apache-2.0
// Expanded uncertainty of readings (GUM, JCGM 100:2008) and the reach of noise in many samples.
#pragma once

#include <array>
#include <span>

#include "host/model/jig.h"

namespace host::judge {

/// Coverage probability of every U printed: two standard deviations of a normal quantity.
inline constexpr double kCoverage = 0.9545;

/// One standard uncertainty and its degrees of freedom; 0: large.
struct Component {
  double u = 0;
  double dof = 0;
};

/// Law of propagation with covariance: sum over i, k of c_i c_k u(i, k), square root (JCGM 100, equation 13).
/// `covariance` row by row, as many rows and columns as `sensitivity` has entries.
double propagated(std::span<const double> sensitivity, std::span<const double> covariance);

/// Square root of the sum of squares.
double combined(std::span<const Component> components);

/// Welch-Satterthwaite, not truncated (GUM G.4.1); 0: large.
double effective_dof(std::span<const Component> components);

/// Two-sided Student factor for coverage probability `p` (0..1) and whole degrees of freedom: `dof` is truncated, as
/// GUM G.4.2 asks; 0: large, the normal factor. Below 1 counts as 1.
double student_factor(double p, double dof);

struct Expanded {
  double standard = 0;
  double k = 2;
  double expanded = 0;  // k * standard
};

/// What the uncertainty of one reading is made of, V or A.
struct Budget {
  Component calibration;  // gain and offset of the fit, with their covariance
  Component converter;    // linearity and quantisation
  Component temperature;
  Component age;
  Component other;  // reference meter, leakage, pick-up
  Component noise;
  std::array<Component, 6> parts() const { return {calibration, converter, temperature, age, other, noise}; }
};

/// Of a mean of `samples` samples at `value`; noise averages down, nothing else does.
Budget budget(const model::JigChannel& channel, double value, double samples);

/// U of such a mean.
Expanded expanded_uncertainty(const model::JigChannel& channel, double value, double samples);

/// U of the difference between two means of the same channel near `value`, of `samples_a` and `samples_b` samples:
/// offsets cancel and a scale error acts on the difference alone; linearity and noise do not cancel.
Expanded difference_uncertainty(const model::JigChannel& channel, double value, double difference, double samples_a,
                                double samples_b);

/// Standard deviations that the greatest of `samples` normal deviates reaches half the time: the outward error of an
/// extreme picked from that many samples. 0 for fewer than two.
double noise_extreme_sigmas(double samples);

}  // namespace host::judge
