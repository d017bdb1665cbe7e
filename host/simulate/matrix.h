// SPDX-License-Identifier: Apache-2.0
// Small dense matrices of double, row by row: only what discretising a linear system needs.
#pragma once

#include <cstddef>
#include <vector>

namespace host::simulate {

struct Matrix {
  std::size_t rows = 0;
  std::size_t columns = 0;
  std::vector<double> values;

  Matrix(std::size_t row_count, std::size_t column_count)
      : rows(row_count), columns(column_count), values(row_count * column_count) {}
  double& operator()(std::size_t row, std::size_t column) { return values[row * columns + column]; }
  double operator()(std::size_t row, std::size_t column) const { return values[row * columns + column]; }
};

Matrix identity(std::size_t size);
Matrix operator*(const Matrix& left, const Matrix& right);  // left.columns == right.rows

/// e to a square matrix: scaling and squaring around a Taylor series of degree 16 at a norm of at most 1/2, where the
/// first term left out is below 1e-19 of the identity.
Matrix exponential(const Matrix& square);

/// x of `square` x = right; Gauss with row pivoting. A singular matrix yields infinities or NaN.
std::vector<double> solve(Matrix square, std::vector<double> right);

}  // namespace host::simulate
