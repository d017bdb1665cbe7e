// SPDX-License-Identifier: Apache-2.0
#include "host/detect/theil_sen.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <vector>

namespace host::detect {
namespace {

constexpr std::size_t kAllPairsMost = 500;  // points
constexpr std::size_t kPairsDrawn = kAllPairsMost * (kAllPairsMost - 1) / 2;
constexpr double kNormal95 = 1.959963984540054;  // two-sided 95 % point of the normal distribution

/// Pairs of a set of points that can be compared, and twice the spread of the count of rising ones under no slope.
struct Comparable {
  double pairs = 0;
  double sigma = 0;
};

/// With u_i comparable points above and d_i below point i, the variance of the sum of signs over all comparable pairs
/// is pairs + sum((u_i - d_i)^2 - (u_i + d_i)) / 3; with every pair comparable that is Kendall's n (n-1) (2n+5) / 18.
Comparable comparable(std::span<const double> x, double least_dx) {
  std::vector<double> sorted(x.begin(), x.end());
  std::ranges::sort(sorted);
  Comparable out;
  double twice = 0;
  double excess = 0;
  for (std::size_t i = 0; i < sorted.size(); ++i) {
    const auto far_below =
        std::ranges::partition_point(sorted, [&](double v) { return v < sorted[i] && sorted[i] - v >= least_dx; });
    const auto near_above =
        std::ranges::partition_point(sorted, [&](double v) { return v <= sorted[i] || v - sorted[i] < least_dx; });
    const auto below = static_cast<double>(far_below - sorted.begin());
    const auto above = static_cast<double>(sorted.end() - near_above);
    twice += above + below;
    excess += (above - below) * (above - below) - (above + below);
  }
  out.pairs = twice / 2;
  out.sigma = std::sqrt(std::max(out.pairs + excess / 3, 0.0));
  return out;
}

std::vector<double> slopes_of(std::span<const double> x, std::span<const double> y, double least_dx) {
  std::vector<double> slopes;
  const auto add = [&](std::size_t i, std::size_t j) {
    const double dx = x[j] - x[i];
    if (dx != 0 && std::abs(dx) >= least_dx) slopes.push_back((y[j] - y[i]) / dx);
  };
  const std::size_t n = x.size();
  slopes.reserve(std::min(n * (n - 1) / 2, kPairsDrawn));
  if (n <= kAllPairsMost) {
    for (std::size_t i = 0; i < n; ++i) {
      for (std::size_t j = i + 1; j < n; ++j) add(i, j);
    }
    return slopes;
  }
  // Knuth's MMIX generator, as in reservoir.h; fixed seed: the same points give the same line.
  std::uint64_t state = 1;
  const auto draw = [&] {
    state = state * 6364136223846793005U + 1442695040888963407U;
    return static_cast<std::size_t>((state >> 33) % n);
  };
  for (std::size_t k = 0; k < kPairsDrawn; ++k) {
    const std::size_t i = draw();
    add(i, draw());
  }
  return slopes;
}

double middle(const std::vector<double>& sorted) {
  const std::size_t n = sorted.size();
  return n % 2 == 1 ? sorted[n / 2] : (sorted[n / 2 - 1] + sorted[n / 2]) / 2;
}

}  // namespace

double median_of(std::span<const double> values) {
  if (values.empty()) return 0;
  std::vector<double> sorted(values.begin(), values.end());
  std::ranges::sort(sorted);
  return middle(sorted);
}

std::size_t distinct_levels(std::span<const double> values, double apart) {
  std::vector<double> sorted(values.begin(), values.end());
  std::ranges::sort(sorted);
  std::size_t levels = 0;
  double last = 0;
  for (double value : sorted) {
    if (levels > 0 && value - last < apart) continue;
    last = value;
    ++levels;
  }
  return levels;
}

std::optional<TheilSen> theil_sen(std::span<const double> x, std::span<const double> y, double least_dx) {
  if (x.size() < 3) return std::nullopt;
  std::vector<double> slopes = slopes_of(x, y, least_dx);
  if (slopes.empty()) return std::nullopt;
  std::ranges::sort(slopes);
  const auto m = static_cast<double>(slopes.size());
  const Comparable all = comparable(x, least_dx);
  double sigma = all.sigma;
  // Of drawn pairs: the same share of the ranks, and the spread of a quantile among m draws besides.
  if (x.size() > kAllPairsMost) sigma = std::hypot(all.sigma * m / all.pairs, std::sqrt(m));
  const auto last = static_cast<double>(slopes.size() - 1);
  // Half-even rounding, as NumPy's.
  const double lower = std::clamp(std::nearbyint((m - kNormal95 * sigma) / 2) - 1, 0.0, last);
  const double upper = std::clamp(std::nearbyint((m + kNormal95 * sigma) / 2), 0.0, last);
  TheilSen line;
  line.slope = middle(slopes);
  // Sen's ranks: slopes number (m - C) / 2 and (m + C) / 2 + 1, counted from 1.
  line.low = slopes[static_cast<std::size_t>(lower)];
  line.high = slopes[static_cast<std::size_t>(upper)];
  line.pairs = slopes.size();
  std::vector<double> rest(x.size());
  for (std::size_t i = 0; i < x.size(); ++i) rest[i] = y[i] - line.slope * x[i];
  line.intercept = median_of(rest);
  return line;
}

}  // namespace host::detect
