// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/rates.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <boost/math/distributions/normal.hpp>
#include <boost/math/special_functions/beta.hpp>

#include "host/simulate/random.h"

namespace trial {

Interval exact_share(std::uint64_t count, std::uint64_t n, double confidence) {
  const double tail = (1 - confidence) / 2;
  const auto k = static_cast<double>(count);
  const auto rest = static_cast<double>(n - count);
  Interval out;
  if (count > 0) out.low = boost::math::ibeta_inv(k, rest + 1, tail);
  if (count < n) out.high = boost::math::ibeta_inv(k + 1, rest, 1 - tail);
  return out;
}

Interval wilson_share(std::uint64_t count, std::uint64_t n, double confidence) {
  if (n == 0) return {};
  const double z = boost::math::quantile(boost::math::normal(), 1 - (1 - confidence) / 2);
  const auto size = static_cast<double>(n);
  const double share = static_cast<double>(count) / size;
  const double centre = (share + z * z / (2 * size)) / (1 + z * z / size);
  const double half = z / (1 + z * z / size) * std::sqrt(share * (1 - share) / size + z * z / (4 * size * size));
  return {count == 0 ? 0 : centre - half, count == n ? 1 : centre + half};
}

double mean_of(std::span<const double> values) {
  double sum = 0;
  for (const double value : values) sum += value;
  return values.empty() ? 0 : sum / static_cast<double>(values.size());
}

Interval bootstrap_mean(std::span<const double> values, std::uint64_t seed, double confidence) {
  if (values.empty()) return {0, 0};
  constexpr std::size_t kDraws = 2000;
  host::simulate::Random random(seed, 27);
  std::vector<double> means;
  for (std::size_t d = 0; d < kDraws; ++d) {
    double sum = 0;
    for (std::size_t i = 0; i < values.size(); ++i) sum += values[random.bits() % values.size()];
    means.push_back(sum / static_cast<double>(values.size()));
  }
  std::ranges::sort(means);
  const auto at = [&](double share) { return means[static_cast<std::size_t>(share * (kDraws - 1))]; };
  const double tail = (1 - confidence) / 2;
  return {at(tail), at(1 - tail)};
}

}  // namespace trial
