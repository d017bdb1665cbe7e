// SPDX-License-Identifier: Apache-2.0
// Packs up to 32 consecutive scans of some channels at the full rate: `body` of CaptureBlock and RawBlock frames.
// Layout: proto/wire.md, "capture body". Lossless.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <expected>
#include <span>

#include "proto/wire/window_codec.h"

namespace wire {

inline constexpr std::size_t kCaptureScansMax = 32;
inline constexpr std::size_t kCaptureColumnBytesMax = 72;  // of one channel

// The head's five bits of width say how a column is told as well: up to 16 distances from the least code at that width;
// above, zig-zag steps from scan to scan at 0..14 bits. Wider steps never pay: distances need 16 bits at most.
inline constexpr std::uint32_t kCaptureStepForm = 17;
inline constexpr std::uint32_t kCaptureStepWidthMax = 14;

/// Packs one channel's codes (1..32 of them) the shorter way into `out` (kCaptureColumnBytesMax suffice); returns the
/// bytes written, 0 when `out` is too small.
/// A capture body is the channels' columns one after the other, in ascending order of channel, each byte XOR 0xA5.
std::size_t encode_capture_column(std::span<const std::int16_t> codes, std::span<std::byte> out);

/// Unpacks a body of `channel_count` columns of `scan_count` codes; `out[k][s]` is the k-th channel's code at scan s.
std::expected<void, BodyError> decode_capture(std::span<const std::byte> body, std::size_t channel_count,
                                              std::size_t scan_count,
                                              std::span<std::array<std::int16_t, kCaptureScansMax>> out);

}  // namespace wire
