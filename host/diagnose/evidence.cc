// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/evidence.h"

#include <algorithm>
#include <limits>
#include <numeric>
#include <vector>

#include <boost/math/distributions/beta.hpp>
#include <boost/math/distributions/chi_squared.hpp>

namespace host::diagnose {

double likelihood_ratio(std::span<const Look> looks, double q) {
  double ratio = 1;
  for (const Look& look : looks) {
    const double whole = look.hit ? q / look.base : (1 - q) / (1 - look.base);
    ratio *= look.reliance * whole + (1 - look.reliance);
  }
  return ratio;
}

double p_value(std::span<const Look> looks) {
  std::vector<double> chance{1.0};  // of k hits among the lock-ups so far
  std::size_t hits = 0;
  for (const Look& look : looks) {
    chance.push_back(0);
    for (std::size_t k = chance.size() - 1; k > 0; --k) {
      chance[k] = chance[k] * (1 - look.base) + chance[k - 1] * look.base;
    }
    chance[0] *= 1 - look.base;
    hits += look.hit ? 1 : 0;
  }
  // Small terms first: the tail of many lock-ups is a sum of very unequal numbers.
  return std::min(1.0, std::accumulate(chance.rbegin(), chance.rend() - static_cast<std::ptrdiff_t>(hits), 0.0));
}

double after_looks(double p, std::uint32_t tries) {
  return std::min(1.0, p * std::max<std::uint32_t>(tries, 1));
}

double after_looks_ratio(double ratio, std::uint32_t tries) {
  return ratio <= 1 ? ratio : std::max(1.0, ratio / std::max<std::uint32_t>(tries, 1));
}

double base_chance(std::uint64_t hits, std::uint64_t windows) {
  return (static_cast<double>(hits) + 0.5) / (static_cast<double>(windows) + 1);
}

double base_chance_upper(std::uint64_t hits, std::uint64_t windows, double confidence) {
  if (hits >= windows) return 1;
  const auto x = static_cast<double>(hits);
  const boost::math::beta_distribution<> beta(x + 1, static_cast<double>(windows) - x);
  return boost::math::quantile(beta, confidence);
}

double rate_upper_per_h(std::uint64_t count, double hours, double confidence) {
  if (!(hours > 0)) return std::numeric_limits<double>::infinity();
  const boost::math::chi_squared_distribution<> chi2(2 * (static_cast<double>(count) + 1));
  return boost::math::quantile(chi2, confidence) / 2 / hours;
}

Strength strength(double ratio, std::size_t lockups) {
  if (ratio < 0.1) return Strength::kAgainst;
  if (ratio <= 10) return Strength::kNoInformation;
  if (ratio <= 100) return Strength::kWeak;
  if (ratio <= 1e4 || lockups < 2) return Strength::kStrong;
  return Strength::kVeryStrong;
}

}  // namespace host::diagnose
