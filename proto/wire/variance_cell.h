// SPDX-License-Identifier: Apache-2.0
// Variance on the wire: a float of 3 mantissa bits made with one count of leading zeros, no root and no logarithm on
// the chip. Wide enough for any 16-bit codes; the middle of a cell is within 6.25 % of any variance in it. A 32-scan
// variance of noise scatters by sqrt(2/31) = 25 % by itself.
#pragma once

#include <bit>
#include <cstdint>

namespace wire {

/// Largest cell: half the scans at -32,768 and half at 32,767 give 32,767.5^2 code^2.
inline constexpr std::uint32_t kVarianceCellMax = 271;

/// Cell of a variance given in 1/64 code^2, rounded down: cells 0..15 are that number, then 8 cells an octave.
constexpr std::uint32_t variance_cell(std::uint64_t variance_64) {
  if (variance_64 < 16) return static_cast<std::uint32_t>(variance_64);
  const auto shift = static_cast<std::uint32_t>(std::bit_width(variance_64)) - 4;
  return 8 * shift + static_cast<std::uint32_t>(variance_64 >> shift);
}

/// Middle of a cell, in code^2; cell 0 (below 1/64 code^2) reads 0: a channel that stands still has no noise.
constexpr float variance_of_cell(std::uint32_t cell) {
  if (cell < 8) return cell == 0 ? 0.0F : (static_cast<float>(cell) + 0.5F) / 64.0F;
  // 2^(cell / 8 - 1) * (8 + cell % 8 + 1/2) / 64, put together from its bits.
  constexpr std::uint32_t kExponentBias = 127;
  return std::bit_cast<float>((cell << 20) + ((kExponentBias - 4) << 23) + (1U << 19));
}

}  // namespace wire
