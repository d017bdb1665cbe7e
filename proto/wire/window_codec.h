// SPDX-License-Identifier: Apache-2.0
// Packs a block of windows into the `body` of a WindowBlock frame. Layout: proto/wire.md, "window body".
// Columns with a reference, one bit width and up to 7 exceptions; extremes exact, mean in 1/8 code, variance to +-6 %.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <expected>
#include <span>

#include "proto/wire/window.h"

namespace wire {

inline constexpr std::size_t kWindowBodyBytesMax = 7680;

/// Bytes encode_windows() would write for this block.
std::size_t window_body_bytes(const WindowBlock& block);

/// Packs `block` into `out` (kWindowBodyBytesMax bytes suffice for any block); returns the bytes written.
std::size_t encode_windows(const WindowBlock& block, std::span<std::byte> out);

/// The same in steps, so that the chip can cut a block's packing into one channel at a time between acquisitions.
class WindowEncoder {
 public:
  WindowEncoder(const WindowBlock& block, std::span<std::byte> out);
  /// Packs the next channel; false when all are done.
  bool step();
  std::size_t bytes() const { return used_; }

 private:
  const WindowBlock& block_;
  std::span<std::byte> out_;
  std::size_t used_ = 0;
  std::size_t channel_ = 0;
};

/// What a receiver has of one channel's windows.
struct DecodedColumns {
  std::array<std::int32_t, kWindowsPerBlock> mean_8;    // 1/8 code
  std::array<std::int16_t, kWindowsPerBlock> min;
  std::array<std::int16_t, kWindowsPerBlock> max;
  std::array<float, kWindowsPerBlock> variance;         // code^2, of one scan (population)
  std::array<std::uint16_t, kWindowsPerBlock> below;
  std::array<std::uint16_t, kWindowsPerBlock> above;
};

struct DecodedWindows {
  std::uint32_t window_count = 0;
  std::array<DecodedColumns, kChannelCount> channels;
};

enum class BodyError : std::uint8_t {
  kTruncated,  // the body ends inside a column
  kTrailing,   // bytes are left over
  kWidth,      // a width or an exception index that no encoder writes
  kRange,      // a value outside 16-bit codes
};

/// Unpacks `body` into `out`, whose first `window_count` (1..32) entries of each column are then valid.
std::expected<void, BodyError> decode_windows(std::span<const std::byte> body, std::uint32_t scans_per_window,
                                              std::uint32_t window_count, DecodedWindows& out);

}  // namespace wire
