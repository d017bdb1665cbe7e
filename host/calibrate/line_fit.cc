// SPDX-License-Identifier: Apache-2.0
#include "host/calibrate/line_fit.h"

#include <algorithm>
#include <cmath>

namespace host::calibrate {

double LineFit::uncertainty_at(double x) const {
  const double mixed = 2 * x * correlation * u_slope * u_intercept;
  return std::sqrt(std::max(0.0, x * x * u_slope * u_slope + u_intercept * u_intercept + mixed));
}

std::expected<LineFit, std::string> fit_line(std::span<const LinePoint> points) {
  if (points.size() < 3) return std::unexpected("a line and its scatter need three points or more");
  for (const LinePoint& point : points) {
    if (!std::isfinite(point.x) || !std::isfinite(point.y)) return std::unexpected("a point is not finite");
    if (!(point.weight > 0) || !std::isfinite(point.weight)) return std::unexpected("a weight is not above 0");
  }
  // About the weighted centre, in extended precision: the plain normal equations lose half of the digits.
  long double w = 0, wx = 0, wy = 0;
  for (const LinePoint& point : points) {
    const long double weight = point.weight;
    w += weight;
    wx += weight * point.x;
    wy += weight * point.y;
  }
  const long double centre_x = wx / w;
  const long double centre_y = wy / w;
  long double sxx = 0, sxy = 0;
  for (const LinePoint& point : points) {
    const long double dx = point.x - centre_x;
    sxx += point.weight * dx * dx;
    sxy += point.weight * dx * (point.y - centre_y);
  }
  if (!(sxx > 0)) return std::unexpected("all points lie at one x");
  const long double slope = sxy / sxx;
  long double squares = 0;
  for (const LinePoint& point : points) {
    const long double residual = point.y - centre_y - slope * (point.x - centre_x);
    squares += point.weight * residual * residual;
  }
  LineFit fit;
  fit.dof = points.size() - 2;
  const long double variance = squares / static_cast<long double>(fit.dof);
  const long double u_slope = std::sqrt(variance / sxx);
  const long double u_intercept = std::sqrt(variance * (1 / w + centre_x * centre_x / sxx));
  fit.slope = static_cast<double>(slope);
  fit.intercept = static_cast<double>(centre_y - slope * centre_x);
  fit.residual_sd = static_cast<double>(std::sqrt(variance));
  fit.u_slope = static_cast<double>(u_slope);
  fit.u_intercept = static_cast<double>(u_intercept);
  // Free of the scatter, so that a perfect fit has one too.
  fit.correlation = static_cast<double>(-centre_x / std::sqrt(sxx / w + centre_x * centre_x));
  return fit;
}

}  // namespace host::calibrate
