// SPDX-License-Identifier: Apache-2.0
// The receiving half of capture_codec.h: apart, so that the chip does not carry it.
#include "proto/wire/body_reader.h"
#include "proto/wire/capture_codec.h"

namespace wire {
namespace {

/// True while every code fits 16 bits.
bool from_distances(std::int32_t least, std::size_t count, const ColumnValues& values, std::span<std::int16_t> out) {
  bool fits = true;
  for (std::size_t k = 0; k < count; ++k) {
    const std::int32_t code = least + static_cast<std::int32_t>(values[k]);
    fits = fits && code <= INT16_MAX;
    out[k] = static_cast<std::int16_t>(code);
  }
  return fits;
}

bool from_steps(std::int32_t first, std::size_t count, const ColumnValues& values, std::span<std::int16_t> out) {
  bool fits = true;
  std::int32_t code = first;
  for (std::size_t k = 0; k < count && fits; ++k) {
    code += static_cast<std::int32_t>(values[k] >> 1) ^ -static_cast<std::int32_t>(values[k] & 1);
    fits = code >= INT16_MIN && code <= INT16_MAX;
    out[k] = static_cast<std::int16_t>(code);
  }
  return fits;
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
    const bool fits = steps ? from_steps(reference, scan_count, values, out[channel])
                            : from_distances(reference, scan_count, values, out[channel]);
    if (!fits) reader.fail(BodyError::kRange);
  }
  if (const auto error = reader.error()) return std::unexpected(*error);
  return {};
}

}  // namespace wire
