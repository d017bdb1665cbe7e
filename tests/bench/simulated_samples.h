// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string_view>

#include "tests/bench/bench_samples.h"

namespace bench {

/// Code of 11.52 V on the +12 V channels of the reference jig.
inline constexpr std::int16_t kReferenceLimitCode = 4848;

/// The simulated supply's codes on the reference jig, the PC settled and gaming from scan 0 on. Empty, with a complaint
/// on stderr, when it cannot be made.
Samples simulated_samples(std::string_view scenario, std::size_t scan_count, std::uint64_t seed);

}  // namespace bench
