// SPDX-License-Identifier: Apache-2.0
#include "host/judge/under_read.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace host::judge {
namespace {

constexpr int kGridPerScan = 200;  // phases of sampling looked at
constexpr int kScansMax = 256;     // slower chains are cut there: a bound on time and memory
constexpr double kSettled = 1e-9;

using Matrix = std::vector<std::vector<double>>;

Matrix product(const Matrix& a, const Matrix& b) {
  Matrix c(a.size(), std::vector<double>(a.size(), 0.0));
  for (std::size_t i = 0; i < a.size(); ++i) {
    for (std::size_t k = 0; k < a.size(); ++k) {
      for (std::size_t j = 0; j < a.size(); ++j) c[i][j] += a[i][k] * b[k][j];
    }
  }
  return c;
}

/// exp(a) by scaling, a Taylor series and squaring: equal poles need no special case, as a sum of exponentials would.
Matrix exponential(Matrix a) {
  double norm = 0;
  for (const auto& row : a) {
    double sum = 0;
    for (double x : row) sum += std::abs(x);
    norm = std::max(norm, sum);
  }
  const int squarings = norm > 0.25 ? static_cast<int>(std::ceil(std::log2(norm / 0.25))) : 0;
  for (auto& row : a) {
    for (double& x : row) x = std::ldexp(x, -squarings);
  }
  Matrix sum(a.size(), std::vector<double>(a.size(), 0.0));
  for (std::size_t i = 0; i < a.size(); ++i) sum[i][i] = 1;
  Matrix term = sum;
  for (int order = 1; order <= 16; ++order) {
    term = product(term, a);
    for (std::size_t i = 0; i < a.size(); ++i) {
      for (std::size_t j = 0; j < a.size(); ++j) {
        term[i][j] /= order;
        sum[i][j] += term[i][j];
      }
    }
  }
  for (int i = 0; i < squarings; ++i) sum = product(sum, sum);
  return sum;
}

}  // namespace

UnderRead::UnderRead(std::span<const double> pole_hz, double scan_rate_hz) : scan_period_s_(1 / scan_rate_hz) {
  const std::size_t n = pole_hz.size();
  // Cascade of first-order poles; the last state is the constant input 1.
  Matrix a(n + 1, std::vector<double>(n + 1, 0.0));
  for (std::size_t i = 0; i < n; ++i) {
    const double rate = 2 * std::numbers::pi * pole_hz[i] * scan_period_s_ / kGridPerScan;
    a[i][i] = -rate;
    a[i][i == 0 ? n : i - 1] = rate;
  }
  const Matrix step = exponential(a);
  std::vector<double> state(n + 1, 0.0);
  state[n] = 1;
  step_response_.push_back(n == 0 ? 1.0 : 0.0);
  while (1 - step_response_.back() > kSettled && step_response_.size() < std::size_t{kGridPerScan} * kScansMax) {
    std::vector<double> next(n + 1, 0.0);
    for (std::size_t i = 0; i <= n; ++i) {
      for (std::size_t j = 0; j <= n; ++j) next[i] += step[i][j] * state[j];
    }
    state = next;
    step_response_.push_back(state[n - 1]);
  }
  const std::size_t scans = step_response_.size() / kGridPerScan + 2;
  for (std::size_t i = 0; i <= scans; ++i) by_scans_.push_back(worst_fraction(static_cast<double>(i) * scan_period_s_));
}

double UnderRead::at(double grid) const {
  if (grid < 0) return 0;
  const auto whole = static_cast<std::size_t>(std::min(grid, static_cast<double>(step_response_.size())));
  if (whole + 1 >= step_response_.size()) return step_response_.back();
  const double part = grid - static_cast<double>(whole);
  return step_response_[whole] * (1 - part) + step_response_[whole + 1] * part;
}

double UnderRead::worst_fraction(double width_s) const {
  if (!(width_s > 0)) return 0;
  const double width = width_s / scan_period_s_ * kGridPerScan;
  if (step_response_.size() <= 1) return width >= kGridPerScan ? 1 : 0;
  const double last = std::min(width, static_cast<double>(step_response_.size())) + 2 * kGridPerScan;
  double worst = 1;
  for (int phase = 0; phase < kGridPerScan; ++phase) {
    double best = 0;
    // The response falls once the dip has ended and the slowest pole takes over: later samples cannot show more.
    for (double grid = phase; grid <= last; grid += kGridPerScan) best = std::max(best, at(grid) - at(grid - width));
    worst = std::min(worst, best);
  }
  return std::clamp(worst, 0.0, 1.0);
}

std::optional<double> UnderRead::bound(double depth, double width_s) const {
  const double fraction = worst_fraction(width_s);
  if (!(fraction > 0)) return std::nullopt;
  return std::max(depth, 0.0) * (1 / fraction - 1);
}

std::optional<double> UnderRead::bound_of_samples(double depth, double samples) const {
  if (!(samples >= 2)) return std::nullopt;
  const double scans = std::min(samples - 1, static_cast<double>(by_scans_.size() - 1));
  const double fraction = by_scans_[static_cast<std::size_t>(scans)];
  if (!(fraction > 0)) return std::nullopt;
  return std::max(depth, 0.0) * (1 / fraction - 1);
}

}  // namespace host::judge
