// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/frame.h"

#include "proto/wire/cobs_writer.h"
#include "proto/wire/crc32c.h"

namespace wire {

std::size_t encode_frame(std::span<const std::byte> payload, std::span<std::byte> out) {
  if (payload.size() > kPayloadBytesMax || out.size() < cobs_bytes_max(payload.size() + kCrcBytes) + 1) return 0;
  const std::uint32_t check = crc32c(payload);
  std::array<std::byte, kCrcBytes> check_bytes;
  for (std::size_t k = 0; k < kCrcBytes; ++k) check_bytes[k] = static_cast<std::byte>(check >> (8 * k));
  CobsWriter writer(out.data());
  writer.append(payload);
  writer.append(check_bytes);
  const std::size_t bytes = writer.finish();
  out[bytes] = kDelimiter;
  return bytes + 1;
}

std::expected<std::span<std::byte>, FrameError> decode_frame(std::span<const std::byte> frame,
                                                             std::span<std::byte> out) {
  if (frame.size() >= kFrameBytesMax) return std::unexpected(FrameError::kOverlong);
  const auto decoded = cobs_decode(frame, out);
  if (!decoded) {
    return std::unexpected(decoded.error() == CobsError::kNoRoom ? FrameError::kOverlong : FrameError::kDamaged);
  }
  if (*decoded < kCrcBytes) return std::unexpected(FrameError::kDamaged);
  const std::size_t bytes = *decoded - kCrcBytes;
  std::uint32_t check = 0;
  for (std::size_t k = 0; k < kCrcBytes; ++k) check |= std::to_integer<std::uint32_t>(out[bytes + k]) << (8 * k);
  if (crc32c(out.first(bytes)) != check) return std::unexpected(FrameError::kDamaged);
  if (bytes > kPayloadBytesMax) return std::unexpected(FrameError::kOverlong);
  return out.first(bytes);
}

}  // namespace wire
