// SPDX-License-Identifier: Apache-2.0
// Intervals of shares and means.
#pragma once

#include <cstdint>
#include <span>

namespace trial {

struct Interval {
  double low = 0;
  double high = 1;
};

/// Exact two-sided interval of a share at `confidence` (Clopper and Pearson, Biometrika 26, 1934); [0, 1] for n = 0.
Interval exact_share(std::uint64_t count, std::uint64_t n, double confidence = 0.95);

/// Score interval of a share (Wilson, Journal of the American Statistical Association 22, 1927); [0, 1] for n = 0.
Interval wilson_share(std::uint64_t count, std::uint64_t n, double confidence = 0.95);

/// Percentile bootstrap of the mean; seeded. Both ends the only value for n = 1, 0 for n = 0.
Interval bootstrap_mean(std::span<const double> values, std::uint64_t seed, double confidence = 0.95);

double mean_of(std::span<const double> values);

}  // namespace trial
