// SPDX-License-Identifier: Apache-2.0
// Device time is the scan index: 32,000 scans a second.
#pragma once

#include <cstdint>

namespace firmware {

inline constexpr std::uint32_t kScansPerSecond = 32000;
inline constexpr std::uint32_t kScansPerMillisecond = kScansPerSecond / 1000;

}  // namespace firmware
