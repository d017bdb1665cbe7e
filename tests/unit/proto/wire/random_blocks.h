// SPDX-License-Identifier: Apache-2.0
// Windows computed from samples the plain way, for comparison with what the wire says of them.
#pragma once

#include <array>
#include <cstdint>
#include <random>
#include <vector>

#include "proto/wire/window.h"

namespace wire {

/// Samples of all channels, channel by channel, and the limits their scans are counted against.
struct Samples {
  std::array<std::vector<std::int16_t>, kChannelCount> codes;
  std::array<std::int32_t, kChannelCount> low_limits;
  std::array<std::int32_t, kChannelCount> high_limits;
};

/// `scan_count` scans, each channel of another make: still, noisy, stepping, clipping, full-range, rarely spiking.
/// Channels divisible by 5 have limits inside their range.
Samples random_samples(std::uint32_t seed, std::size_t scan_count);

/// Windows of `scans_per_window` over all the samples.
WindowBlock windows_of(const Samples& samples, std::uint32_t scans_per_window);

}  // namespace wire
