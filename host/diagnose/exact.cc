// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/exact.h"

#include <algorithm>

#include <boost/math/distributions/beta.hpp>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/hypergeometric.hpp>

namespace host::diagnose {

FisherTest fisher(const TwoByTwo& table) {
  const std::uint64_t with = table.with_a + table.with_b;
  const std::uint64_t in_b = table.with_b + table.without_b;
  const std::uint64_t all = with + table.without_a + table.without_b;
  FisherTest out;
  if (with == 0 || in_b == 0 || with == all || in_b == all) return out;  // one table only
  constexpr double kAsLikely = 1 + 1e-7;
  const boost::math::hypergeometric_distribution<> of_b(with, in_b, all);
  const double here = boost::math::pdf(of_b, table.with_b);
  const std::uint64_t least = with + in_b > all ? with + in_b - all : 0;
  out = {0, 0};
  for (std::uint64_t k = least; k <= std::min(with, in_b); ++k) {
    const double chance = boost::math::pdf(of_b, k);
    if (chance <= here * kAsLikely) out.two_sided += chance;
    if (k <= table.with_b) out.fewer_in_b += chance;
  }
  out.two_sided = std::min(out.two_sided, 1.0);
  out.fewer_in_b = std::min(out.fewer_in_b, 1.0);
  return out;
}

Bounds rate_bounds_per_h(std::uint64_t count, double hours, double confidence) {
  if (!(hours > 0)) return {};
  const double tail = (1 - confidence) / 2;
  const auto n = static_cast<double>(count);
  Bounds out;
  if (count > 0) out.low = boost::math::quantile(boost::math::chi_squared(2 * n), tail) / 2 / hours;
  out.high = boost::math::quantile(boost::math::complement(boost::math::chi_squared(2 * (n + 1)), tail)) / 2 / hours;
  return out;
}

Bounds rate_ratio_bounds(std::uint64_t count_a, double hours_a, std::uint64_t count_b, double hours_b,
                         double confidence) {
  if (!(hours_a > 0 && hours_b > 0) || count_a + count_b == 0) return {};
  const double tail = (1 - confidence) / 2;
  const auto a = static_cast<double>(count_a);
  const auto b = static_cast<double>(count_b);
  const auto ratio = [&](double share) { return share / (1 - share) * hours_a / hours_b; };
  Bounds out;
  if (count_b > 0) out.low = ratio(boost::math::quantile(boost::math::beta_distribution<>(b, a + 1), tail));
  if (count_a > 0) {
    out.high = ratio(boost::math::quantile(boost::math::complement(boost::math::beta_distribution<>(b + 1, a), tail)));
  }
  return out;
}

}  // namespace host::diagnose
