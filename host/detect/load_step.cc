// SPDX-License-Identifier: Apache-2.0
#include "host/detect/load_step.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <optional>

namespace host::detect {
namespace {

constexpr double kSigmas = 6;
constexpr double kSameShare = 1e-9;  // of |D|: differences below are rounding
constexpr double kBoundEdgeScans = 3;

/// First crossing of `level` towards `direction` at or after `from`, before `to`.
std::optional<double> crossing(std::span<const double> amps, double level, double direction, std::size_t from,
                               std::size_t to) {
  for (std::size_t i = from; i + 1 < std::min(to, amps.size()); ++i) {
    const double a = direction * (amps[i] - level);
    const double b = direction * (amps[i + 1] - level);
    if (a < 0 && b >= 0) return static_cast<double>(i) + a / (a - b);
  }
  return std::nullopt;
}

/// Last crossing of `level` towards `direction` before `to`.
std::optional<double> last_crossing(std::span<const double> amps, double level, double direction, std::size_t from,
                                    std::size_t to) {
  for (std::size_t i = std::min(to, amps.size() - 1); i > from; --i) {
    const double a = direction * (amps[i - 1] - level);
    const double b = direction * (amps[i] - level);
    if (a < 0 && b >= 0) return static_cast<double>(i - 1) + a / (a - b);
  }
  return std::nullopt;
}

std::vector<double> differences(std::span<const double> amps, const StepRule& rule) {
  const auto sums = std::make_unique_for_overwrite<double[]>(amps.size() + 1);
  sums[0] = 0;
  for (std::size_t i = 0; i < amps.size(); ++i) sums[i + 1] = sums[i] + amps[i];
  std::vector<double> d(amps.size(), 0.0);
  for (std::size_t n = rule.span; n + rule.gap + rule.span <= amps.size(); ++n) {
    const double after = sums[n + rule.gap + rule.span] - sums[n + rule.gap];
    const double before = sums[n] - sums[n - rule.span];
    d[n] = (after - before) / rule.span;
  }
  return d;
}

ScanStep measure(std::span<const double> amps, const StepRule& rule, std::size_t at, double step) {
  ScanStep found;
  found.at = at;
  found.step = step;
  double before = 0;
  for (std::size_t i = at - rule.span; i < at; ++i) before += amps[i] / rule.span;
  const double direction = step > 0 ? 1 : -1;
  const std::size_t from = at - rule.span;
  const std::size_t to = at + rule.gap + rule.span;
  found.t50 = crossing(amps, before + 0.5 * step, direction, from, to).value_or(static_cast<double>(at));
  const auto middle = static_cast<std::size_t>(found.t50) + 1;
  found.t10 = last_crossing(amps, before + 0.1 * step, direction, from, middle).value_or(found.t50);
  found.t90 = crossing(amps, before + 0.9 * step, direction, middle - 1, to).value_or(found.t50);
  found.slew_is_bound = found.edge_scans() < kBoundEdgeScans;
  return found;
}

}  // namespace

double difference_sigma(const StepRule& rule) {
  return rule.sigma * std::sqrt(2.0 / rule.span);
}

std::vector<ScanStep> find_steps(std::span<const double> amps, const StepRule& rule) {
  std::vector<ScanStep> steps;
  if (amps.size() < 2 * rule.span + rule.gap) return steps;
  const std::vector<double> d = differences(amps, rule);
  const double least = std::max(rule.least, kSigmas * difference_sigma(rule));
  const std::size_t reach = rule.span + rule.gap;
  for (std::size_t n = rule.span; n < d.size();) {
    const double here = std::abs(d[n]);
    if (here <= least) {
      ++n;
      continue;
    }
    const double tolerance = kSameShare * here;
    const std::size_t from = n > reach ? n - reach : 0;
    const std::size_t to = std::min(n + reach + 1, d.size());
    const bool greatest =
        std::all_of(d.begin() + static_cast<std::ptrdiff_t>(from), d.begin() + static_cast<std::ptrdiff_t>(to),
                    [&](double x) { return std::abs(x) <= here + tolerance; });
    if (!greatest) {
      ++n;
      continue;
    }
    std::size_t last = n;
    while (last + 1 < d.size() && std::abs(d[last + 1] - d[n]) <= tolerance) ++last;
    steps.push_back(measure(amps, rule, n + (last - n) / 2, d[n]));
    n = last + reach + 1;
  }
  return steps;
}

double slew(const ScanStep& step, double scan_rate_hz) {
  // An edge between two scans has no measured length; one scan is what the samples can tell.
  return 0.8 * step.step / std::max(step.edge_scans(), 0.8) * scan_rate_hz;
}

}  // namespace host::detect
