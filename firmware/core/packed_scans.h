// SPDX-License-Identifier: Apache-2.0
// Packs up to 32 scans of some channels into bodies that fit a frame of at most 1 KiB: an acknowledgement then never
// waits long behind one. What does not fit one body is split by channel.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "proto/wire/capture_codec.h"
#include "proto/wire/window.h"

namespace firmware {

/// 1 KiB less framing, checksum, sequence, boot and the longest CaptureBlock.
inline constexpr std::size_t kPackedBodyBytesMax = 930;

struct PackedBody {
  std::uint32_t channel_mask = 0;
  std::size_t bytes = 0;
  std::array<std::byte, kPackedBodyBytesMax> body;
};

/// Packs the channels of `mask` that fit, lowest first, into `out`; returns those left over. `take(channel, codes)`
/// copies the channel's codes of scans 0..scan_count - 1.
template <typename Take>
std::uint32_t pack_scans(std::uint32_t mask, std::uint32_t scan_count, Take take, PackedBody& out) {
  out.channel_mask = 0;
  out.bytes = 0;
  std::array<std::int16_t, wire::kCaptureScansMax> column;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    if ((mask >> c & 1) == 0) continue;
    if (kPackedBodyBytesMax - out.bytes < wire::kCaptureColumnBytesMax) return mask & ~out.channel_mask;
    take(c, column.data());
    out.bytes += wire::encode_capture_column({column.data(), scan_count}, std::span(out.body).subspan(out.bytes));
    out.channel_mask |= std::uint32_t{1} << c;
  }
  return 0;
}

}  // namespace firmware
