// SPDX-License-Identifier: Apache-2.0
// Consistent overhead byte stuffing (Cheshire and Baker, IEEE/ACM Trans. Networking 7(2), 1999).
#pragma once

#include <cstddef>
#include <expected>
#include <span>

namespace wire {

/// Most bytes an encoded payload can take, delimiter not included.
constexpr std::size_t cobs_bytes_max(std::size_t payload_bytes) {
  return payload_bytes + payload_bytes / 254 + 1;
}

/// Encodes `payload` into `out`, without delimiter. A payload that ends after exactly 254 non-zero bytes gets no
/// trailing 0x01 (the shorter of the two readings; the decoder takes both). Returns the bytes written. `out` must hold
/// cobs_bytes_max(payload.size()). `payload` may lie outside `out`, or be its last bytes.
std::size_t cobs_encode(std::span<const std::byte> payload, std::span<std::byte> out);

enum class CobsError : unsigned char {
  kZero,       // a zero byte inside the frame
  kTruncated,  // a run reaches past the end
  kNoRoom,     // the payload does not fit `out`
};

/// Decodes one frame (delimiter not included) into `out`; both readings at 254 bytes are accepted. `out` may be the
/// very buffer of `frame`: the payload never overtakes it. Returns the payload's bytes.
std::expected<std::size_t, CobsError> cobs_decode(std::span<const std::byte> frame, std::span<std::byte> out);

}  // namespace wire
