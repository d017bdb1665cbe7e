// SPDX-License-Identifier: Apache-2.0
// Elementary functions from + - * / alone: the C library's differ in the last bit between machines, and a seed must
// not.
#pragma once

namespace host::simulate {

/// sin(2 pi turns); absolute error below 1e-9 for |turns| < 1e6.
double sine_of_turns(double turns);
/// e to the x; relative error below 1e-14 for |x| < 700.
double exponential(double x);
/// Natural logarithm of x > 0; relative error below 1e-14 away from 1, absolute near it.
double logarithm(double x);

}  // namespace host::simulate
