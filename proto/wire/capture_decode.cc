// SPDX-License-Identifier: Apache-2.0
// The receiving half of capture_codec.h: apart, so that the chip does not carry it.
#include "proto/wire/body_reader.h"
#include "proto/wire/capture_codec.h"
#include "proto/wire/lesser.h"

namespace wire {
namespace {

using Codes = std::array<std::int16_t, kCaptureScansMax>;

// Values past the scans are 0, so whole columns can be worked on: loops of known length become vector instructions.
// Values have 25 bits and a column 32 of them: no sum leaves 32 bits.

/// True when every code fits 16 bits.
bool from_distances(std::int32_t least, const ColumnValues& values, Codes& out) {
  std::uint32_t most = 0;
  for (std::size_t k = 0; k < kCaptureScansMax; ++k) {
    most = greater(most, values[k]);
    out[k] = static_cast<std::int16_t>(least + static_cast<std::int32_t>(values[k]));
  }
  return least + static_cast<std::int32_t>(most) <= INT16_MAX;
}

bool from_steps(std::int32_t first, const ColumnValues& values, Codes& out) {
  std::array<std::int32_t, kCaptureScansMax> codes;
  for (std::size_t k = 0; k < kCaptureScansMax; ++k) {
    codes[k] = static_cast<std::int32_t>(values[k] >> 1) ^ -static_cast<std::int32_t>(values[k] & 1);
  }
  std::int32_t code = first;
  for (std::int32_t& each : codes) each = code += each;
  std::int32_t least = 0;
  std::int32_t most = 0;
  for (std::size_t k = 0; k < kCaptureScansMax; ++k) {
    least = lesser(least, codes[k]);
    most = greater(most, codes[k]);
    out[k] = static_cast<std::int16_t>(codes[k]);
  }
  return least >= INT16_MIN && most <= INT16_MAX;
}

}  // namespace

std::expected<void, BodyError> decode_capture(std::span<const std::byte> body, std::size_t channel_count,
                                              std::size_t scan_count,
                                              std::span<std::array<std::int16_t, kCaptureScansMax>> out) {
  if (channel_count < 1 || channel_count > kChannelCount || channel_count > out.size() || scan_count < 1 ||
      scan_count > kCaptureScansMax) {
    return std::unexpected(BodyError::kRange);
  }
  BodyReader reader(body);
  ColumnValues values;
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    const BodyReader::Head head = reader.take_head();
    const std::int32_t reference = static_cast<std::int16_t>(reader.take_le(2));
    const bool steps = head.form >= kCaptureStepForm;
    reader.take_values(steps ? head.form - kCaptureStepForm : head.form, head.exceptions, scan_count, values);
    const bool fits =
        steps ? from_steps(reference, values, out[channel]) : from_distances(reference, values, out[channel]);
    if (!fits) reader.fail(BodyError::kRange);
  }
  if (const auto error = reader.error()) return std::unexpected(*error);
  return {};
}

}  // namespace wire
