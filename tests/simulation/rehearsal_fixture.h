// SPDX-License-Identifier: Apache-2.0
// Whole rehearsed sessions, real firmware and line included.
#pragma once

#include <cstdint>
#include <string_view>

#include "host/detect/review.h"

namespace testing_jig {

/// Rehearses `scenario` for so many seconds, in a process of its own, and hands the recording to `review`. A fault is a
/// failure of the test.
void rehearse(std::string_view scenario, std::uint64_t seed, int seconds, host::detect::Review& review);

}  // namespace testing_jig
