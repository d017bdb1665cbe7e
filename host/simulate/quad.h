// SPDX-License-Identifier: Apache-2.0
// Four doubles in lanes. A machine with narrower registers works them in pieces, with the same result.
#pragma once

#include <cstddef>
#include <cstring>

namespace host::simulate {

using Quad = double __attribute__((vector_size(32)));
inline constexpr std::size_t kLanes = 4;

[[gnu::always_inline]] inline void read_quad(Quad& quad, const double* from) {
  std::memcpy(&quad, from, sizeof(quad));
}
[[gnu::always_inline]] inline void write_quad(const Quad& quad, double* to) {
  std::memcpy(to, &quad, sizeof(quad));
}

}  // namespace host::simulate
