// SPDX-License-Identifier: Apache-2.0
// Doubles side by side. Long loops are written once for any width, always inlined, and built twice: for pairs, which
// every machine has, and for quads inside functions marked HOST_WIDE, taken when the machine has them. Lanes never mix
// in a sum and a product is never fused with a sum, so both give the same bits.
#pragma once

#include <cstddef>
#include <cstring>

#if defined(__x86_64__)
#define HOST_HAS_WIDE 1
#define HOST_WIDE __attribute__((target("avx2")))
#else
#define HOST_HAS_WIDE 0
#endif

namespace host::simulate {

using Pair = double __attribute__((vector_size(16)));
using Quad = double __attribute__((vector_size(32)));

template <typename Lanes>
inline constexpr std::size_t kLanesOf = sizeof(Lanes) / sizeof(double);

/// Strides are multiples of this, so that either width divides them.
inline constexpr std::size_t kLanesMost = kLanesOf<Quad>;

inline bool machine_is_wide() {
#if HOST_HAS_WIDE
  static const bool kWide = __builtin_cpu_supports("avx2") != 0;
  return kWide;
#else
  return false;
#endif
}

// Vectors travel by reference: by value, a quad's place in registers would depend on the machine built for.
template <typename Lanes>
[[gnu::always_inline]] inline void read_lanes(Lanes& lanes, const double* from) {
  std::memcpy(&lanes, from, sizeof(lanes));
}
template <typename Lanes>
[[gnu::always_inline]] inline void write_lanes(const Lanes& lanes, double* to) {
  std::memcpy(to, &lanes, sizeof(lanes));
}

/// Nothing physical is this small, V or A. What dies away is set to 0 before it becomes subnormal: processors take a
/// hundred times as long over those.
inline constexpr double kVanished = 1e-200;
inline double unless_vanished(double value) {
  return value < kVanished && value > -kVanished ? 0 : value;
}
template <typename Lanes>
[[gnu::always_inline]] inline void drop_vanished(Lanes& lanes) {
  lanes = (lanes < kVanished) & (lanes > -kVanished) ? Lanes{} : lanes;
}

/// from[0], from[stride], from[2 stride], ...
[[gnu::always_inline]] inline void gather_lanes(Pair& lanes, const double* from, std::size_t stride) {
  lanes = Pair{from[0], from[stride]};
}
[[gnu::always_inline]] inline void gather_lanes(Quad& lanes, const double* from, std::size_t stride) {
  lanes = Quad{from[0], from[stride], from[2 * stride], from[3 * stride]};
}

/// Turns as many tracks as there are lanes: row i takes the i-th value of each.
[[gnu::always_inline]] inline void turn_lanes(Pair* rows, const double* const* from, std::size_t first) {
  Pair a, b;
  read_lanes(a, from[0] + first);
  read_lanes(b, from[1] + first);
  rows[0] = __builtin_shufflevector(a, b, 0, 2);
  rows[1] = __builtin_shufflevector(a, b, 1, 3);
}
[[gnu::always_inline]] inline void turn_lanes(Quad* rows, const double* const* from, std::size_t first) {
  Quad a, b, c, d;
  read_lanes(a, from[0] + first);
  read_lanes(b, from[1] + first);
  read_lanes(c, from[2] + first);
  read_lanes(d, from[3] + first);
  const Quad even_ab = __builtin_shufflevector(a, b, 0, 4, 2, 6);
  const Quad odd_ab = __builtin_shufflevector(a, b, 1, 5, 3, 7);
  const Quad even_cd = __builtin_shufflevector(c, d, 0, 4, 2, 6);
  const Quad odd_cd = __builtin_shufflevector(c, d, 1, 5, 3, 7);
  rows[0] = __builtin_shufflevector(even_ab, even_cd, 0, 1, 4, 5);
  rows[1] = __builtin_shufflevector(odd_ab, odd_cd, 0, 1, 4, 5);
  rows[2] = __builtin_shufflevector(even_ab, even_cd, 2, 3, 6, 7);
  rows[3] = __builtin_shufflevector(odd_ab, odd_cd, 2, 3, 6, 7);
}

}  // namespace host::simulate
