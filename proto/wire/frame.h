// SPDX-License-Identifier: Apache-2.0
// Frames: COBS(payload + CRC-32C little-endian) + 0x00. See proto/wire.md.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <expected>
#include <span>

#include "proto/wire/cobs.h"

namespace wire {

inline constexpr std::uint32_t kProtocolVersion = 1;
inline constexpr std::size_t kPayloadBytesMax = 8192;  // payload without CRC, either way
inline constexpr std::size_t kCrcBytes = 4;
inline constexpr std::size_t kFrameBytesMax = cobs_bytes_max(kPayloadBytesMax + kCrcBytes) + 1;  // with delimiter
inline constexpr std::byte kDelimiter{0};

enum class FrameError : std::uint8_t {
  kDamaged,   // not COBS, or the checksum differs
  kOverlong,  // more than kFrameBytesMax without a delimiter, or a payload above kPayloadBytesMax
};

/// Frames `payload` into `out`, delimiter included; returns the bytes written, or 0 when the payload is above
/// kPayloadBytesMax or `out` holds less than cobs_bytes_max(payload.size() + kCrcBytes) + 1. `payload` may lie outside
/// `out`, or be its last bytes: the frame never overtakes it.
std::size_t encode_frame(std::span<const std::byte> payload, std::span<std::byte> out);

/// Payload of one frame (delimiter not included), decoded into `out`; the span returned lies in `out`.
std::expected<std::span<std::byte>, FrameError> decode_frame(std::span<const std::byte> frame,
                                                             std::span<std::byte> out);

/// Receives bytes one at a time and yields payloads; no heap, no I/O, for the chip and for small hosts. Everything
/// before the first delimiter and empty frames are ignored silently; overlong and damaged frames are counted.
template <std::size_t PayloadBytes>
class FrameReceiver {
 public:
  /// Feeds one byte. True when it completed a sound frame: payload() is valid until the next push.
  bool push(std::byte received) {
    if (received != kDelimiter) {
      if (filled_ < buffer_.size()) {
        buffer_[filled_] = received;
      }
      ++filled_;
      return false;
    }
    const std::size_t bytes = filled_;
    const bool counts = synchronized_;
    filled_ = 0;
    synchronized_ = true;
    if (!counts || bytes == 0) return false;
    if (bytes > buffer_.size()) {
      ++overlong_;
      return false;
    }
    const auto payload = decode_frame({buffer_.data(), bytes}, buffer_);
    if (!payload) {
      ++damaged_;
      return false;
    }
    payload_ = *payload;
    return true;
  }

  std::span<const std::byte> payload() const { return payload_; }
  std::uint32_t damaged() const { return damaged_; }
  std::uint32_t overlong() const { return overlong_; }

 private:
  std::array<std::byte, cobs_bytes_max(PayloadBytes + kCrcBytes)> buffer_{};
  std::span<const std::byte> payload_{};
  std::size_t filled_ = 0;
  std::uint32_t damaged_ = 0;
  std::uint32_t overlong_ = 0;
  bool synchronized_ = false;
};

}  // namespace wire
