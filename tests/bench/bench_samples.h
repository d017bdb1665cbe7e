// SPDX-License-Identifier: Apache-2.0
// Samples of a made-up supply for the benchmarks: not the simulator's model, only signals of the same make.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "proto/wire/window.h"

namespace bench {

using Samples = std::array<std::vector<std::int16_t>, wire::kChannelCount>;

enum class Load { kQuiet, kGaming };

/// All channels over `scan_count` scans at 32 kS/s.
/// +12 V at 0.61 mV a code with 0.6 mV rms of noise, currents at 2.44 mA a code with 50 mA rms, the AC-present input a
/// 50 Hz sine over 85 % of its range, the rest still but for one code of noise. Gaming: two loads of 90 frames a second
/// and of irregular bursts, 0.5 ms excursions of twice the level, each with sag and ringing on the rails.
Samples make_samples(Load load, std::size_t scan_count, std::uint32_t seed);

/// Code of 11.52 V on the +12 V channels made up here.
inline constexpr std::int16_t kMadeUpLimitCode = 2492;

/// Windows of 32 scans in blocks of 32; scans of graphics-1 below `limit_code` are counted.
std::vector<wire::WindowBlock> make_blocks(const Samples& samples, std::int16_t limit_code = kMadeUpLimitCode);

}  // namespace bench
