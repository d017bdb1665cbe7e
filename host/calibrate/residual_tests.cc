// SPDX-License-Identifier: Apache-2.0
#include "host/calibrate/residual_tests.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <boost/math/distributions/students_t.hpp>
#include <boost/math/special_functions/binomial.hpp>

namespace host::calibrate {
namespace {

constexpr std::size_t kLinePointsLeast = 4;
// Scatter below this share of the readings is rounding: no test can be made of it.
constexpr double kRoundingShare = 1e-13;

double two_sided(double t, double dof) {
  return 2 * boost::math::cdf(boost::math::complement(boost::math::students_t(dof), std::abs(t)));
}

double choose(std::size_t n, std::size_t k) {
  return k > n ? 0 : boost::math::binomial_coefficient<double>(static_cast<unsigned>(n), static_cast<unsigned>(k));
}

/// Weighted residuals of regressing one column on others that are orthogonal to each other.
struct Column {
  std::vector<double> values;
  double squares = 0;  // weighted
};

double product(std::span<const LinePoint> points, std::span<const double> a, std::span<const double> b) {
  double sum = 0;
  for (std::size_t i = 0; i < points.size(); ++i) sum += points[i].weight * a[i] * b[i];
  return sum;
}

Column cleared(std::span<const LinePoint> points, std::vector<double> values, std::span<const Column> of) {
  Column out{std::move(values), 0};
  for (int round = 0; round < 2; ++round) {  // the second takes out what rounding left
    for (const Column& other : of) {
      const double share = product(points, out.values, other.values) / other.squares;
      for (std::size_t i = 0; i < out.values.size(); ++i) out.values[i] -= share * other.values[i];
    }
  }
  out.squares = product(points, out.values, out.values);
  return out;
}

/// The line's two columns and y's residuals from them.
struct Cleared {
  std::array<Column, 2> line;
  std::vector<double> y;
};

Cleared clear_line(std::span<const LinePoint> points) {
  std::vector<double> x;
  std::vector<double> y;
  for (const LinePoint& point : points) {
    x.push_back(point.x);
    y.push_back(point.y);
  }
  Cleared out;
  out.line[0] = cleared(points, std::vector<double>(points.size(), 1.0), {});
  out.line[1] = cleared(points, x, std::span(out.line).first(1));
  out.y = cleared(points, y, out.line).values;
  return out;
}

/// One more column beside the line: Student's t of its coefficient.
std::expected<Tested, std::string> one_more(std::span<const LinePoint> points, const std::vector<double>& column) {
  if (points.size() < kLinePointsLeast) return std::unexpected("fewer than four points");
  const Cleared line = clear_line(points);
  if (!(line.line[1].squares > 0)) return std::unexpected("all points lie at one x");
  const Column more = cleared(points, column, line.line);
  const double scale = product(points, column, column);
  if (!(more.squares > kRoundingShare * scale)) return std::unexpected("the points cannot tell it from the line");
  const double coefficient = product(points, more.values, line.y) / more.squares;
  double rest = 0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    rest += points[i].weight * std::pow(line.y[i] - coefficient * more.values[i], 2);
  }
  const double dof = static_cast<double>(points.size()) - 3;
  const double u = std::sqrt(rest / dof / more.squares);
  Tested out;
  for (const double value : more.values) out.effect = std::max(out.effect, std::abs(coefficient * value));
  if (!(u > 0)) return std::unexpected("no scatter to measure it by");
  out.statistic = coefficient / u;
  out.chance = two_sided(out.statistic, dof);
  return out;
}

}  // namespace

std::vector<double> residuals(const LineFit& fit, std::span<const LinePoint> points) {
  std::vector<double> out;
  for (const LinePoint& point : points) out.push_back(point.y - fit.at(point.x));
  return out;
}

double chance_of_runs(std::size_t runs, std::size_t above, std::size_t below) {
  double ways = 0;
  for (std::size_t r = 2; r <= runs; ++r) {
    const std::size_t half = r / 2;
    if (r % 2 == 0) {
      ways += 2 * choose(above - 1, half - 1) * choose(below - 1, half - 1);
    } else {
      ways +=
          choose(above - 1, half) * choose(below - 1, half - 1) + choose(above - 1, half - 1) * choose(below - 1, half);
    }
  }
  return std::min(1.0, ways / choose(above + below, above));
}

std::expected<Tested, std::string> runs_test(std::span<const double> residuals) {
  std::size_t above = 0;
  std::size_t below = 0;
  std::size_t runs = 0;
  double before = 0;
  Tested out;
  for (const double residual : residuals) {
    out.effect = std::max(out.effect, std::abs(residual));
    if (residual == 0) continue;
    (residual > 0 ? above : below) += 1;
    if (residual * before <= 0) ++runs;
    before = residual > 0 ? 1 : -1;
  }
  if (above < 2 || below < 2) return std::unexpected("fewer than two residuals of either sign");
  out.statistic = static_cast<double>(runs);
  out.chance = chance_of_runs(runs, above, below);
  return out;
}

std::expected<Tested, std::string> curvature_test(std::span<const LinePoint> points) {
  // About the middle of the range, so that the square is not nearly the line itself.
  const auto [least, most] = std::ranges::minmax_element(points, {}, &LinePoint::x);
  if (least == points.end()) return std::unexpected("fewer than four points");
  const double middle = (least->x + most->x) / 2;
  std::vector<double> squares;
  for (const LinePoint& point : points) squares.push_back((point.x - middle) * (point.x - middle));
  return one_more(points, squares);
}

double chance_of_outlier(double greatest, std::size_t points, std::size_t parameters) {
  const double dof = static_cast<double>(points - parameters);
  const double room = dof - greatest * greatest;
  if (!(room > 0)) return 0;
  const double t = greatest * std::sqrt((dof - 1) / room);
  return std::min(1.0, static_cast<double>(points) * two_sided(t, dof - 1));
}

std::expected<Tested, std::string> outlier_test(std::span<const LinePoint> points) {
  if (points.size() < kLinePointsLeast) return std::unexpected("fewer than four points");
  const Cleared line = clear_line(points);
  if (!(line.line[1].squares > 0)) return std::unexpected("all points lie at one x");
  double rest = 0;
  double scale = 0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    rest += points[i].weight * line.y[i] * line.y[i];
    scale += points[i].weight * points[i].y * points[i].y;
  }
  if (!(rest > kRoundingShare * kRoundingShare * scale)) return std::unexpected("no scatter to measure it by");
  const double s = std::sqrt(rest / static_cast<double>(points.size() - 2));
  Tested out;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const double weight = points[i].weight;
    const double pull =
        weight * (1 / line.line[0].squares + line.line[1].values[i] * line.line[1].values[i] / line.line[1].squares);
    if (!(pull < 1)) continue;  // the line goes through this point whatever it reads
    const double studentized = std::abs(line.y[i]) * std::sqrt(weight / (1 - pull)) / s;
    if (studentized <= out.statistic) continue;
    out.statistic = studentized;
    out.place = i;
    out.effect = std::abs(line.y[i]) / (1 - pull);
  }
  out.chance = chance_of_outlier(out.statistic, points.size(), 2);
  return out;
}

std::expected<Tested, std::string> hysteresis_test(std::span<const LinePoint> points,
                                                   std::span<const Direction> directions) {
  std::vector<double> way;
  for (const Direction direction : directions) way.push_back(direction == Direction::kUp ? 0.5 : -0.5);
  if (way.empty() || std::ranges::all_of(way, [&](double one) { return one == way.front(); })) {
    return std::unexpected("not taken up and down");
  }
  return one_more(points, way);
}

}  // namespace host::calibrate
