// SPDX-License-Identifier: Apache-2.0
// What is left of a straight line, asked whether it is only noise.
#pragma once

#include <cstddef>
#include <cstdint>
#include <expected>
#include <span>
#include <string>
#include <vector>

#include "host/calibrate/line_fit.h"

namespace host::calibrate {

/// A statistic and the probability of at least as much by noise alone.
struct Tested {
  double statistic = 0;
  double chance = 1;
  double effect = 0;      // in y's unit: how far it bends a reading, at most
  std::size_t place = 0;  // of an outlier: which point
};

/// Of every point, in their order: y less the line.
std::vector<double> residuals(const LineFit& fit, std::span<const LinePoint> points);

/// Too few runs of equal signs (Wald and Wolfowitz 1940; exact distribution). Residuals in ascending order of x; zeros
/// are left out. Error: fewer than two of either sign.
std::expected<Tested, std::string> runs_test(std::span<const double> residuals);
/// Probability of at most `runs` runs among `above` and `below` signs in random order.
double chance_of_runs(std::size_t runs, std::size_t above, std::size_t below);

/// Student's t of c in y = a + b x + c x2; its effect is the greatest distance of that curve from the line over the
/// range. Errors: fewer than four points, or fewer than three different x.
std::expected<Tested, std::string> curvature_test(std::span<const LinePoint> points);

/// The greatest residual over its own standard deviation (s and the pull of the point on the line taken out) against
/// Student's t over all points, two-sided: of a mean this is Grubbs' test (Grubbs 1969; ISO 5725-2:2019, 8.3.5), of a
/// line the same with one more parameter. Errors: fewer than four points, no scatter.
std::expected<Tested, std::string> outlier_test(std::span<const LinePoint> points);
/// Chance of a greatest studentized residual of `greatest` or more among `points` with `parameters` fitted.
double chance_of_outlier(double greatest, std::size_t points, std::size_t parameters);

enum class Direction : std::uint8_t { kUp, kDown };

/// Difference between the way up and the way down beyond the common line, by Student's t. `directions` belongs to
/// `points`. Error: not both ways, or fewer than four points.
std::expected<Tested, std::string> hysteresis_test(std::span<const LinePoint> points,
                                                   std::span<const Direction> directions);

}  // namespace host::calibrate
