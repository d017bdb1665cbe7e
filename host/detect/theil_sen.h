// SPDX-License-Identifier: Apache-2.0
// A straight line that outliers do not move: median of the slopes of all pairs of points, with a rank interval.
// H. Theil (1950), P. K. Sen, J. Amer. Statist. Assoc. 63 (1968) 1379 (from memory).
#pragma once

#include <cstddef>
#include <optional>
#include <span>

namespace host::detect {

struct TheilSen {
  double slope = 0;  // y per x
  double low = 0;    // 95 % interval of the slope, from the variance of Kendall's statistic
  double high = 0;
  double intercept = 0;   // median of y - slope x
  std::size_t pairs = 0;  // slopes the median was taken of
};

/// Pairs closer than `least_dx` in x (0 or more) tell no slope and are left out. All pairs up to 500 points, beyond
/// that as many drawn with a fixed seed. Nothing: fewer than 3 points, or no two far enough apart. `x` and `y` of one
/// length.
std::optional<TheilSen> theil_sen(std::span<const double> x, std::span<const double> y, double least_dx);

/// Values that lie at least `apart` from each other, counted from the least upwards.
std::size_t distinct_levels(std::span<const double> values, double apart);

/// Of a copy; 0 for none.
double median_of(std::span<const double> values);

}  // namespace host::detect
