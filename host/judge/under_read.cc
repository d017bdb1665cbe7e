// SPDX-License-Identifier: Apache-2.0
#include "host/judge/under_read.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace host::judge {
namespace {

constexpr int kGridPerScan = 200;  // points of the step response; between them it is a straight line
constexpr int kScansMax = 256;     // slower chains are cut there: a bound on time and memory
constexpr double kSettled = 1e-9;
constexpr double kForgotten = 0.99;  // of the response has passed: what lies further back hardly shapes a reading

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
  bound_peaks();
}

void UnderRead::bound_peaks() {
  const std::size_t points = step_response_.size();
  std::vector<double> area(1, 0.0);  // of the step response up to each grid point, in scans
  for (std::size_t i = 1; i < points; ++i) {
    area.push_back(area.back() + (step_response_[i - 1] + step_response_[i]) / 2 / kGridPerScan);
  }
  const double end = static_cast<double>(points - 1) / kGridPerScan;
  const double mean = end - area.back();
  const auto area_at = [&](double scans) {
    if (scans <= 0) return 0.0;
    if (scans >= end) return area.back() + scans - end;
    const double grid = scans * kGridPerScan;
    const auto whole = static_cast<std::size_t>(grid);
    const double part = grid - static_cast<double>(whole);
    return area[whole] + part * (whole + 1 < points ? area[whole + 1] - area[whole] : 0.0);
  };
  // g(c) = area of F up to c + area of 1 - F beyond it.
  const auto spread = [&](double c) { return mean - c + 2 * area_at(c); };
  double low = -1;
  double high = end;
  for (int i = 0; i < 60; ++i) {
    const double a = (low + high) / 2;
    (spread(a) > spread(a + 1) ? low : high) = a;
  }
  peak_scans_ = spread(high + 1);

  steepness_shown_ = 1;
  for (int phase = 0; phase < kGridPerScan; ++phase) {
    double best = 0;
    for (double t = static_cast<double>(phase) / kGridPerScan; t <= end + kFlankScans + 1; ++t) {
      const double shown = area_at(t) - area_at(t - 1) - area_at(t - kFlankScans) + area_at(t - kFlankScans - 1);
      best = std::max(best, shown);
    }
    steepness_shown_ = std::min(steepness_shown_, best);
  }
  const auto forgotten = std::ranges::find_if(step_response_, [](double part) { return part >= kForgotten; });
  const auto lag = static_cast<std::size_t>(forgotten - step_response_.begin());
  reach_scans_ = 2 + (lag + kGridPerScan - 1) / kGridPerScan;
}

std::optional<double> UnderRead::bound_of_span(double span) const {
  const double rest = kFlankScans - 2 * peak_scans_;
  if (!(rest > 0)) return std::nullopt;
  return std::max(span, 0.0) * peak_scans_ / rest;
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
  // What real poles make of a dip rises and then falls: sampling hides most where two readings in a row, one on either
  // side of the peak, show the same. Any fixed set of phases would miss that one and bound too little.
  const auto shown = [&](double grid) { return at(grid) - at(grid - width); };
  double low = -kGridPerScan;
  double high = std::min(width, static_cast<double>(step_response_.size())) + 2 * kGridPerScan;
  for (int i = 0; i < 50; ++i) {
    const double middle = (low + high) / 2;
    (shown(middle) < shown(middle + kGridPerScan) ? low : high) = middle;
  }
  return std::clamp(shown(high), 0.0, 1.0);
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
