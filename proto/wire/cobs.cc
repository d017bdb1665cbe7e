// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/cobs.h"

#include <cstring>

#include "proto/wire/cobs_writer.h"

namespace wire {

std::size_t cobs_encode(std::span<const std::byte> payload, std::span<std::byte> out) {
  CobsWriter writer(out.data());
  writer.append(payload);
  return writer.finish();
}

std::expected<std::size_t, CobsError> cobs_decode(std::span<const std::byte> frame, std::span<std::byte> out) {
  // One fast look for zeros over the whole frame leaves the runs free of checks byte by byte.
  if (!frame.empty() && std::memchr(frame.data(), 0, frame.size()) != nullptr) return std::unexpected(CobsError::kZero);
  std::size_t read = 0;
  std::size_t written = 0;
  while (read < frame.size()) {
    const auto code = std::to_integer<std::size_t>(frame[read++]);
    const std::size_t run = code - 1;
    if (run > frame.size() - read) return std::unexpected(CobsError::kTruncated);
    if (run > out.size() - written) return std::unexpected(CobsError::kNoRoom);
    if (run != 0) std::memmove(out.data() + written, frame.data() + read, run);
    read += run;
    written += run;
    if (code == 0xFF || read == frame.size()) continue;
    if (written == out.size()) return std::unexpected(CobsError::kNoRoom);
    out[written++] = std::byte{0};
  }
  return written;
}

}  // namespace wire
