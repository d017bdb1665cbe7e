// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/matrix.h"

#include <gtest/gtest.h>

#include <cmath>

namespace host::simulate {
namespace {

// exp [[0, -w], [w, 0]] is a turn by w.
TEST(MatrixExponentialTest, OfARotationIsATurn) {
  for (const double w : {1e-3, 1.0, 40.0}) {
    Matrix generator(2, 2);
    generator(0, 1) = -w;
    generator(1, 0) = w;
    const Matrix turn = exponential(generator);
    EXPECT_NEAR(turn(0, 0), std::cos(w), 1e-12);
    EXPECT_NEAR(turn(1, 0), std::sin(w), 1e-12);
  }
}

// exp of a strictly upper triangular 3 x 3 is 1 + N + N N / 2, exactly.
TEST(MatrixExponentialTest, OfANilpotentIsItsShortSeries) {
  Matrix n(3, 3);
  n(0, 1) = 3;
  n(1, 2) = 5;
  const Matrix result = exponential(n);
  EXPECT_NEAR(result(0, 1), 3, 1e-14);
  EXPECT_NEAR(result(0, 2), 7.5, 1e-13);
}

// A stiff decay underflows to nothing instead of blowing up: exp(-1e4) is 0 in double.
TEST(MatrixExponentialTest, OfAStiffDecayIsNearZero) {
  Matrix decay(2, 2);
  decay(0, 0) = -1e4;
  decay(1, 1) = -1;
  const Matrix result = exponential(decay);
  EXPECT_NEAR(result(0, 0), 0, 1e-15);
  EXPECT_NEAR(result(1, 1), std::exp(-1), 1e-12);
}

// By hand: 2 x + y = 5, 4 x - 6 y = -2 gives x = 1.75, y = 1.5; the rows are swapped on the way.
TEST(SolveTest, FindsTheHandSolution) {
  Matrix square(2, 2);
  square(0, 0) = 2;
  square(0, 1) = 1;
  square(1, 0) = 4;
  square(1, 1) = -6;
  const std::vector<double> x = solve(square, {5, -2});
  EXPECT_NEAR(x[0], 1.75, 1e-15);
  EXPECT_NEAR(x[1], 1.5, 1e-15);
}

}  // namespace
}  // namespace host::simulate
