// SPDX-License-Identifier: Apache-2.0
// Packs a block of windows into the `body` of a WindowBlock frame. Layout: proto/wire.md, "window body".
// Columns with a reference, one bit width and up to 7 exceptions; extremes exact, mean in 1/8 code, variance to +-6 %.
#pragma once

#include <array>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <expected>
#include <span>

#include "proto/wire/body.h"
#include "proto/wire/window.h"

namespace wire {

/// Every column at its full width: 32 windows of 256 scans, means over 19 bits, distances over 16, variances over 9,
/// counts over 9 (heads and references included).
inline constexpr std::size_t kWindowBodyBytesMax =
    6 + kChannelCount * ((4 + 76) + 2 * (1 + 64) + (3 + 36) + 2 * (1 + 36));

/// True for what a block may carry: 1..32 windows of 32 scans or that doubled 1..8 times, 8,192 scans at most in all.
constexpr bool window_shape_valid(std::uint32_t scans_per_window, std::uint32_t window_count) {
  return std::has_single_bit(scans_per_window) && scans_per_window >= kScansPerBlock &&
         scans_per_window <= kScansPerWindowMax && window_count >= 1 && window_count <= kWindowsPerBlock &&
         scans_per_window * window_count <= kScansPerWindowMax;
}

/// Bytes encode_windows() would write for this block.
std::size_t window_body_bytes(const WindowBlock& block);

/// Packs `block`, whose shape is valid and whose sums, squares and counts are those of codes between min and max, into
/// `out` (kWindowBodyBytesMax bytes suffice for any block). Returns the bytes written; 0 when `out` is too small.
std::size_t encode_windows(const WindowBlock& block, std::span<std::byte> out);

/// The same in steps, so that the chip can cut a block's packing into one channel at a time between acquisitions.
class WindowEncoder {
 public:
  WindowEncoder(const WindowBlock& block, std::span<std::byte> out);
  /// Packs the next channel; false when all are done or `out` is full.
  bool step();
  /// Bytes written so far; 0 when `out` was too small.
  std::size_t bytes() const { return writer_.bytes(); }

 private:
  const WindowBlock& block_;
  BodyWriter writer_;
  std::uint32_t mask_below_ = 0;
  std::uint32_t mask_above_ = 0;
  std::size_t channel_ = 0;
};

/// What a receiver has of one channel's windows.
struct DecodedColumns {
  std::array<std::int32_t, kWindowsPerBlock> mean_8;  // 1/8 code
  std::array<std::int16_t, kWindowsPerBlock> min;
  std::array<std::int16_t, kWindowsPerBlock> max;
  std::array<float, kWindowsPerBlock> variance;  // code^2, of one scan (population)
  std::array<std::uint16_t, kWindowsPerBlock> below;
  std::array<std::uint16_t, kWindowsPerBlock> above;
};

struct DecodedWindows {
  std::uint32_t window_count = 0;
  std::array<DecodedColumns, kChannelCount> channels;
};

/// Unpacks `body` into `out`, whose first `window_count` entries of each column are then valid; on an error nothing in
/// `out` is. kRange also for a shape that is not valid.
std::expected<void, BodyError> decode_windows(std::span<const std::byte> body, std::uint32_t scans_per_window,
                                              std::uint32_t window_count, DecodedWindows& out);

}  // namespace wire
