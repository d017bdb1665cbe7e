// SPDX-License-Identifier: Apache-2.0
#include "host/selftest/edge.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <vector>

namespace host::selftest {

double step_response(double t_s, std::span<const double> time_constants_s) {
  std::vector<double> slow(time_constants_s.begin(), time_constants_s.end());
  std::ranges::sort(slow, std::greater());
  for (std::size_t k = 2; k < slow.size(); ++k) t_s -= slow[k];
  if (t_s <= 0) return 0;
  if (slow.empty()) return 1;
  if (slow.size() == 1) return 1 - std::exp(-t_s / slow[0]);
  constexpr double kApart = 1e-6;  // closer than this the limit of equal poles is exact to rounding
  const double first = slow[0];
  const double second = slow[1];
  if (first - second < kApart * first) return 1 - (1 + t_s / first) * std::exp(-t_s / first);
  return 1 - (first * std::exp(-t_s / first) - second * std::exp(-t_s / second)) / (first - second);
}

std::optional<double> step_instant(double before_scan, double before_share, double after_share, double scan_s,
                                   std::span<const double> time_constants_s) {
  const auto miss = [&](double instant) {
    const double t_s = (before_scan - instant) * scan_s;
    return std::hypot(step_response(t_s, time_constants_s) - before_share,
                      step_response(t_s + scan_s, time_constants_s) - after_share);
  };
  constexpr double kEarliest = 4;  // scans: five time constants of the slowest common pole
  constexpr int kParts = 4000;
  constexpr double kMissMost = 0.1;
  double best = before_scan + 1;
  for (int k = 0; k <= kParts; ++k) {
    const double instant = before_scan + 1 - (kEarliest + 1) * k / kParts;
    if (miss(instant) < miss(best)) best = instant;
  }
  if (!(miss(best) <= kMissMost)) return std::nullopt;
  return best;
}

}  // namespace host::selftest
