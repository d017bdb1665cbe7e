// SPDX-License-Identifier: Apache-2.0
// Seeded random numbers that are the same on every machine (the library's distributions are not).
#pragma once

#include <array>
#include <bit>
#include <cstdint>

#include "host/simulate/arithmetic.h"

namespace host::simulate {

/// xoshiro256++ (Blackman, Vigna: "Scrambled linear pseudorandom number generators", 2021), state filled by splitmix64.
class Random {
 public:
  /// `stream` separates the uses of one seed: a change in one use leaves the others' numbers as they were.
  Random(std::uint64_t seed, std::uint64_t stream) {
    std::uint64_t mix = seed ^ (stream * 0xd1342543de82ef95u);
    for (std::uint64_t& word : state_) {
      mix += 0x9e3779b97f4a7c15u;
      std::uint64_t z = mix;
      z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
      z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
      word = z ^ (z >> 31);
    }
  }

  std::uint64_t bits() {
    const std::uint64_t result = std::rotl(state_[0] + state_[3], 23) + state_[0];
    const std::uint64_t shifted = state_[1] << 17;
    state_[2] ^= state_[0];
    state_[3] ^= state_[1];
    state_[1] ^= state_[2];
    state_[0] ^= state_[3];
    state_[2] ^= shifted;
    state_[3] = std::rotl(state_[3], 45);
    return result;
  }

  double uniform() { return static_cast<double>(bits() >> 11) * 0x1p-53; }  // [0, 1)
  double uniform(double low, double high) { return low + (high - low) * uniform(); }
  bool chance(double probability) { return uniform() < probability; }

  /// Mean 0, standard deviation 1, near enough to normal for converter noise at one draw a sample: the number of ones
  /// among 48 bits plus a uniform of width 1 (variance 12 + 1/12; excess kurtosis -0.04; bounded at 7 sigma).
  double normal() {
    const std::uint64_t word = bits();
    const int ones = std::popcount(word >> 16);
    const double fine = static_cast<double>(word & 0xffff) * 0x1p-16 - (0.5 - 0x1p-17);
    constexpr double kDeviation = 3.47610509;  // sqrt(12 + 1/12)
    return (ones - 24 + fine) * (1 / kDeviation);
  }

  double exponential_of_mean(double mean) { return -mean * logarithm(1 - uniform()); }

 private:
  std::array<std::uint64_t, 4> state_;
};

}  // namespace host::simulate
