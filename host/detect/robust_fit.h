// SPDX-License-Identifier: Apache-2.0
// Several slopes at once, little moved by outliers: iteratively reweighted least squares with Huber's weights (k =
// 1.345, scale from the median absolute residual; P. J. Huber, Robust Statistics, 1981, chapter 7, from memory).
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace host::detect {

struct RobustFit {
  double constant = 0;
  double constant_u = 0;       // standard errors, correlated errors of the points not included
  std::vector<double> slopes;  // by column
  std::vector<double> slopes_u;
  double scale = 0;  // of the residuals
  double dof = 0;    // points less coefficients
};

/// y = constant + sum of slope_k column_k. Columns of y's length, at most 8. Nothing: no more points than coefficients,
/// or columns that cannot be told apart at all.
std::optional<RobustFit> robust_fit(const std::vector<std::vector<double>>& columns, std::span<const double> y);

/// Ratio of the greatest to the least singular value of the columns, each centred and scaled to unit length: 1 for
/// loads that moved independently, infinite where one did not move or is another's image.
double condition_number(const std::vector<std::vector<double>>& columns);

/// Above this the separate slopes mean nothing: Belsley, Kuh and Welsch call 30 to 100 strong dependence (1980, from
/// memory).
inline constexpr double kConditionMost = 30;

}  // namespace host::detect
