// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/arithmetic.h"

#include <cmath>
#include <numbers>

namespace host::simulate {

double sine_of_turns(double turns) {
  double fraction = turns - std::floor(turns + 0.5);  // -0.5..0.5
  if (fraction > 0.25) fraction = 0.5 - fraction;
  if (fraction < -0.25) fraction = -0.5 - fraction;
  const double x = 2 * std::numbers::pi * fraction;
  const double square = x * x;
  // Taylor series; the first term left out, of degree 15, is 7e-10 at a quarter turn. Paired, so that the sums overlap.
  const double fourth = square * square;
  const double low = 1 - square * (1.0 / 6);
  const double middle = 1.0 / 120 - square * (1.0 / 5040);
  const double high = 1.0 / 362880 - square * (1.0 / 39916800) + fourth * (1.0 / 6227020800);
  return x * (low + fourth * (middle + fourth * high));
}

double exponential(double x) {
  const double whole = std::floor(x / std::numbers::ln2 + 0.5);
  const double rest = x - whole * std::numbers::ln2;  // within +-0.35
  double sum = 1;
  for (int n = 14; n >= 1; --n) sum = 1 + sum * rest / n;
  return std::ldexp(sum, static_cast<int>(whole));
}

double logarithm(double x) {
  int exponent = 0;
  double mantissa = std::frexp(x, &exponent);  // 0.5..1
  if (mantissa < std::numbers::sqrt2 / 2) {
    mantissa *= 2;
    --exponent;
  }
  // 2 atanh((m - 1)/(m + 1)); the argument stays within 0.172, so 11 terms leave less than 1e-17.
  const double ratio = (mantissa - 1) / (mantissa + 1);
  const double square = ratio * ratio;
  double sum = 0;
  for (int n = 11; n >= 0; --n) sum = sum * square + 1.0 / (2 * n + 1);
  return 2 * ratio * sum + exponent * std::numbers::ln2;
}

}  // namespace host::simulate
