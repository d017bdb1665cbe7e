// SPDX-License-Identifier: Apache-2.0
// Windows: what the firmware keeps of every channel's consecutive scans, with no extreme lost.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

namespace wire {

inline constexpr std::size_t kChannelCount = 24;
inline constexpr std::size_t kWindowsPerBlock = 32;
inline constexpr std::uint32_t kScansPerBlock = 32;        // of acquisition, and the shortest window
inline constexpr std::uint32_t kScansPerWindowMax = 8192;  // 256, merged five times

/// One channel's windows of a block, column by column. Sums are exact: 16-bit codes over kScansPerWindowMax scans.
struct WindowColumns {
  std::array<std::int16_t, kWindowsPerBlock> min;
  std::array<std::int16_t, kWindowsPerBlock> max;
  std::array<std::int32_t, kWindowsPerBlock> sum;     // of codes
  std::array<std::int64_t, kWindowsPerBlock> m2;      // n * sum of squares - sum^2, n scans: n^2 * variance
  std::array<std::uint16_t, kWindowsPerBlock> below;  // scans beyond the armed low limit
  std::array<std::uint16_t, kWindowsPerBlock> above;  // scans beyond the armed high limit
};

/// Windows of all channels over the same stretch.
struct WindowBlock {
  std::uint32_t scans_per_window = 0;
  std::uint32_t window_count = 0;  // of the columns' entries
  std::array<WindowColumns, kChannelCount> channels;
};

/// Merges neighbouring windows pairwise: min of min, max of max, sums and counts added, m2 pooled exactly. An odd last
/// window cannot occur (`window_count` must be even). Halves `window_count`, doubles `scans_per_window`.
/// Returns false, and changes nothing, when that would exceed kScansPerWindowMax or the count is odd.
[[nodiscard]] bool merge_pairs(WindowBlock& block);

}  // namespace wire
