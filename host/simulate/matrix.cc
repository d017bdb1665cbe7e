// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/matrix.h"

#include <algorithm>
#include <cmath>

namespace host::simulate {

Matrix identity(std::size_t size) {
  Matrix result(size, size);
  for (std::size_t i = 0; i < size; ++i) result(i, i) = 1;
  return result;
}

Matrix operator*(const Matrix& left, const Matrix& right) {
  Matrix result(left.rows, right.columns);
  for (std::size_t i = 0; i < left.rows; ++i) {
    for (std::size_t k = 0; k < left.columns; ++k) {
      const double factor = left(i, k);
      if (factor == 0) continue;
      for (std::size_t j = 0; j < right.columns; ++j) result(i, j) += factor * right(k, j);
    }
  }
  return result;
}

Matrix exponential(const Matrix& square) {
  double norm = 0;
  for (std::size_t i = 0; i < square.rows; ++i) {
    double sum = 0;
    for (std::size_t j = 0; j < square.columns; ++j) sum += std::abs(square(i, j));
    norm = std::max(norm, sum);
  }
  int squarings = 0;
  for (; norm > 0.5; norm /= 2) ++squarings;
  Matrix scaled = square;
  for (double& value : scaled.values) value = std::ldexp(value, -squarings);

  constexpr int kDegree = 16;
  Matrix result = identity(square.rows);
  for (int n = kDegree; n >= 1; --n) {
    result = scaled * result;
    for (double& value : result.values) value /= n;
    for (std::size_t i = 0; i < result.rows; ++i) result(i, i) += 1;
  }
  for (int i = 0; i < squarings; ++i) result = result * result;
  return result;
}

std::vector<double> solve(Matrix square, std::vector<double> right) {
  const std::size_t size = square.rows;
  for (std::size_t column = 0; column < size; ++column) {
    std::size_t pivot = column;
    for (std::size_t row = column + 1; row < size; ++row) {
      if (std::abs(square(row, column)) > std::abs(square(pivot, column))) pivot = row;
    }
    if (pivot != column) {
      for (std::size_t j = 0; j < size; ++j) std::swap(square(pivot, j), square(column, j));
      std::swap(right[pivot], right[column]);
    }
    for (std::size_t row = column + 1; row < size; ++row) {
      const double factor = square(row, column) / square(column, column);
      if (factor == 0) continue;
      for (std::size_t j = column; j < size; ++j) square(row, j) -= factor * square(column, j);
      right[row] -= factor * right[column];
    }
  }
  for (std::size_t row = size; row-- > 0;) {
    for (std::size_t j = row + 1; j < size; ++j) right[row] -= square(row, j) * right[j];
    right[row] /= square(row, row);
  }
  return right;
}

}  // namespace host::simulate
