// SPDX-License-Identifier: Apache-2.0
#include "host/detect/robust_fit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "host/detect/theil_sen.h"

namespace host::detect {
namespace {

constexpr std::size_t kSizeMax = 9;  // eight columns and the constant
constexpr double kHuber = 1.345;
constexpr double kMadOfNormal = 0.6744897501960817;  // median absolute value of a standard normal quantity
constexpr int kRoundsMost = 2000;
constexpr double kStill = 1e-12;  // change of a residual, in scales, that ends the rounds

using Vector = std::array<double, kSizeMax>;
using Matrix = std::array<Vector, kSizeMax>;

struct Scaled {
  double mean = 0;
  double spread = 0;  // root of the mean square about the mean
};

Scaled scaled(std::span<const double> column) {
  Scaled out;
  for (double v : column) out.mean += v / static_cast<double>(column.size());
  double squares = 0;
  for (double v : column) squares += (v - out.mean) * (v - out.mean);
  out.spread = std::sqrt(squares / static_cast<double>(column.size()));
  return out;
}

/// Inverse of a positive definite matrix by Gauss-Jordan; false when it is singular to rounding.
bool invert(Matrix matrix, std::size_t size, Matrix& inverse) {
  for (std::size_t i = 0; i < size; ++i) {
    inverse[i].fill(0);
    inverse[i][i] = 1;
  }
  for (std::size_t pivot = 0; pivot < size; ++pivot) {
    const double here = matrix[pivot][pivot];
    if (!(here > 1e-13)) return false;  // columns are scaled: entries near 1
    for (std::size_t j = 0; j < size; ++j) {
      matrix[pivot][j] /= here;
      inverse[pivot][j] /= here;
    }
    for (std::size_t i = 0; i < size; ++i) {
      if (i == pivot) continue;
      const double factor = matrix[i][pivot];
      for (std::size_t j = 0; j < size; ++j) {
        matrix[i][j] -= factor * matrix[pivot][j];
        inverse[i][j] -= factor * inverse[pivot][j];
      }
    }
  }
  return true;
}

class Solver {
 public:
  Solver(const std::vector<std::vector<double>>& columns, std::span<const double> y)
      : columns_(columns), y_(y), size_(columns.size() + 1), weights_(y.size(), 1.0), residuals_(y.size()) {
    for (const auto& column : columns) scales_.push_back(scaled(column));
    y_mean_ = scaled(y).mean;
  }

  bool run() {
    for (const Scaled& one : scales_) {
      if (!(one.spread > 0)) return false;
    }
    if (!solve()) return false;
    for (int round = 0; round < kRoundsMost; ++round) {
      scale_ = spread_of_residuals();
      if (!(scale_ > 0)) return true;  // more than half the points lie on the line exactly
      for (std::size_t i = 0; i < y_.size(); ++i) {
        const double size = std::abs(residuals_[i]) / scale_;
        weights_[i] = size <= kHuber ? 1 : kHuber / size;
      }
      const std::vector<double> before = residuals_;
      if (!solve()) return false;
      double moved = 0;
      for (std::size_t i = 0; i < y_.size(); ++i) moved = std::max(moved, std::abs(residuals_[i] - before[i]));
      if (moved <= kStill * scale_) break;
    }
    return true;
  }

  RobustFit result() const {
    RobustFit fit;
    const auto n = static_cast<double>(y_.size());
    const auto p = static_cast<double>(size_);
    fit.dof = n - p;
    fit.scale = scale_;
    double inside = 0;
    double squares = 0;
    for (double r : residuals_) {
      const double bounded = scale_ > 0 ? std::clamp(r / scale_, -kHuber, kHuber) : 0;
      inside += std::abs(r) <= kHuber * scale_ ? 1 / n : 0;
      squares += bounded * bounded;
    }
    double variance = 0;  // of the unweighted normal equations; Huber 1981, equation 6.5
    if (scale_ > 0 && inside > 0) {
      const double correction = 1 + p / n * (1 - inside) / inside;
      variance = correction * correction * scale_ * scale_ * squares / fit.dof / (inside * inside);
    }
    Matrix inverse{};
    invert(products([](std::size_t) { return 1.0; }), size_, inverse);
    Vector to_constant{};
    to_constant[0] = 1;
    fit.constant = y_mean_ + solution_[0];
    for (std::size_t k = 0; k + 1 < size_; ++k) {
      fit.slopes.push_back(solution_[k + 1] / scales_[k].spread);
      fit.slopes_u.push_back(std::sqrt(variance * inverse[k + 1][k + 1]) / scales_[k].spread);
      to_constant[k + 1] = -scales_[k].mean / scales_[k].spread;
      fit.constant += to_constant[k + 1] * solution_[k + 1];
    }
    double sum = 0;
    for (std::size_t i = 0; i < size_; ++i) {
      for (std::size_t j = 0; j < size_; ++j) sum += to_constant[i] * inverse[i][j] * to_constant[j];
    }
    fit.constant_u = std::sqrt(variance * std::max(sum, 0.0));
    return fit;
  }

 private:
  double entry(std::size_t coefficient, std::size_t point) const {
    if (coefficient == 0) return 1;
    const Scaled& one = scales_[coefficient - 1];
    return (columns_[coefficient - 1][point] - one.mean) / one.spread;
  }

  template <typename Weight>
  Matrix products(Weight weight) const {
    Matrix sums{};
    for (std::size_t point = 0; point < y_.size(); ++point) {
      Vector row{};
      for (std::size_t i = 0; i < size_; ++i) row[i] = entry(i, point);
      for (std::size_t i = 0; i < size_; ++i) {
        for (std::size_t j = 0; j < size_; ++j) sums[i][j] += weight(point) * row[i] * row[j];
      }
    }
    return sums;
  }

  bool solve() {
    Matrix sums = products([&](std::size_t point) { return weights_[point]; });
    const auto n = static_cast<double>(y_.size());
    for (Vector& row : sums) {
      for (double& v : row) v /= n;
    }
    Matrix inverse{};
    if (!invert(sums, size_, inverse)) return false;
    Vector right{};
    for (std::size_t point = 0; point < y_.size(); ++point) {
      for (std::size_t i = 0; i < size_; ++i) right[i] += weights_[point] * entry(i, point) * (y_[point] - y_mean_) / n;
    }
    solution_.fill(0);
    for (std::size_t i = 0; i < size_; ++i) {
      for (std::size_t j = 0; j < size_; ++j) solution_[i] += inverse[i][j] * right[j];
    }
    for (std::size_t point = 0; point < y_.size(); ++point) {
      double fitted = 0;
      for (std::size_t i = 0; i < size_; ++i) fitted += solution_[i] * entry(i, point);
      residuals_[point] = y_[point] - y_mean_ - fitted;
    }
    return true;
  }

  double spread_of_residuals() const {
    std::vector<double> sizes(residuals_.size());
    std::ranges::transform(residuals_, sizes.begin(), [](double r) { return std::abs(r); });
    const double spread = median_of(sizes) / kMadOfNormal;
    // Rounding alone is no scale to weigh by.
    double largest = 0;
    for (double v : y_) largest = std::max(largest, std::abs(v));
    return spread > 1e-13 * largest ? spread : 0;
  }

  const std::vector<std::vector<double>>& columns_;
  std::span<const double> y_;
  std::size_t size_;
  std::vector<Scaled> scales_;
  double y_mean_ = 0;
  std::vector<double> weights_;
  std::vector<double> residuals_;
  Vector solution_{};
  double scale_ = 0;
};

/// Eigenvalues of a symmetric matrix by Jacobi rotations; they stand on the diagonal afterwards.
void diagonalise(Matrix& matrix, std::size_t size) {
  constexpr int kSweeps = 30;
  for (int sweep = 0; sweep < kSweeps; ++sweep) {
    for (std::size_t p = 0; p < size; ++p) {
      for (std::size_t q = p + 1; q < size; ++q) {
        if (std::abs(matrix[p][q]) < 1e-15) continue;
        const double angle = std::atan2(2 * matrix[p][q], matrix[q][q] - matrix[p][p]) / 2;
        const double c = std::cos(angle);
        const double s = std::sin(angle);
        for (std::size_t k = 0; k < size; ++k) {
          const double left = matrix[k][p];
          const double right = matrix[k][q];
          matrix[k][p] = c * left - s * right;
          matrix[k][q] = s * left + c * right;
        }
        for (std::size_t k = 0; k < size; ++k) {
          const double upper = matrix[p][k];
          const double lower = matrix[q][k];
          matrix[p][k] = c * upper - s * lower;
          matrix[q][k] = s * upper + c * lower;
        }
      }
    }
  }
}

}  // namespace

std::optional<RobustFit> robust_fit(const std::vector<std::vector<double>>& columns, std::span<const double> y) {
  if (columns.empty() || columns.size() + 1 > kSizeMax || y.size() <= columns.size() + 1) return std::nullopt;
  Solver solver(columns, y);
  if (!solver.run()) return std::nullopt;
  return solver.result();
}

double condition_number(const std::vector<std::vector<double>>& columns) {
  if (columns.empty() || columns.size() + 1 > kSizeMax) return std::numeric_limits<double>::infinity();
  Matrix correlation{};
  std::vector<Scaled> scales;
  scales.reserve(columns.size());
  for (const auto& column : columns) scales.push_back(scaled(column));
  for (std::size_t i = 0; i < columns.size(); ++i) {
    if (!(scales[i].spread > 0)) return std::numeric_limits<double>::infinity();
    for (std::size_t j = 0; j < columns.size() && scales[j].spread > 0; ++j) {
      double sum = 0;
      for (std::size_t k = 0; k < columns[i].size(); ++k) {
        sum += (columns[i][k] - scales[i].mean) * (columns[j][k] - scales[j].mean);
      }
      correlation[i][j] = sum / (static_cast<double>(columns[i].size()) * scales[i].spread * scales[j].spread);
    }
  }
  diagonalise(correlation, columns.size());
  double least = correlation[0][0];
  double most = correlation[0][0];
  for (std::size_t i = 0; i < columns.size(); ++i) {
    least = std::min(least, correlation[i][i]);
    most = std::max(most, correlation[i][i]);
  }
  return least > 1e-14 ? std::sqrt(most / least) : std::numeric_limits<double>::infinity();
}

}  // namespace host::detect
