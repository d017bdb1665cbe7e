// SPDX-License-Identifier: Apache-2.0
// Straight line by weighted least squares: y = slope x + intercept, with the covariance of both.
#pragma once

#include <cstddef>
#include <expected>
#include <span>
#include <string>

namespace host::calibrate {

/// One point; `weight` is 1 over the square of y's standard uncertainty, up to a factor that all points share.
struct LinePoint {
  double x = 0;
  double y = 0;
  double weight = 1;
};

/// Uncertainties from the scatter about the line, so that only the ratios of the weights matter.
struct LineFit {
  double slope = 0;
  double intercept = 0;
  double residual_sd = 0;  // of a point of weight 1, in y's unit
  double u_slope = 0;      // standard uncertainties
  double u_intercept = 0;
  double correlation = 0;  // of slope and intercept, -1..1
  std::size_t dof = 0;     // points less 2

  double at(double x) const { return slope * x + intercept; }
  /// Standard uncertainty of at(x), covariance included.
  double uncertainty_at(double x) const;
};

/// Errors (a sentence each): fewer than three points, a figure that is not finite, a weight that is not above 0, all
/// points at one x.
std::expected<LineFit, std::string> fit_line(std::span<const LinePoint> points);

}  // namespace host::calibrate
