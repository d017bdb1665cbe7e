// SPDX-License-Identifier: Apache-2.0
// The receiving half of window_codec.h: apart, so that the chip does not carry it.
#include "proto/wire/body_reader.h"
#include "proto/wire/lesser.h"
#include "proto/wire/variance_cell.h"
#include "proto/wire/window_codec.h"

namespace wire {
namespace {

constexpr std::int32_t kCodeMin = -32768;
constexpr std::int32_t kCodeMax = 32767;

constexpr auto kVariances = [] {
  std::array<float, kVarianceCellMax + 1> variances{};
  for (std::uint32_t cell = 0; cell <= kVarianceCellMax; ++cell) variances[cell] = variance_of_cell(cell);
  return variances;
}();

/// A 24-bit two's complement number.
std::int32_t sign_extended_24(std::uint32_t value) {
  return static_cast<std::int32_t>(value << 8) >> 8;
}

// The loops below run over whole columns (values past the windows are 0) held in local arrays: of known length and
// unable to overlap what they write, they become vector instructions.
class ChannelReader {
 public:
  ChannelReader(BodyReader& body, std::uint32_t scans, std::uint32_t count)
      : body_(body), scans_(scans), count_(count) {}

  void read(DecodedColumns& out, bool below, bool above) {
    means(out);
    extremes(out);
    variances(out);
    counts(out.below, below);
    counts(out.above, above);
  }

 private:
  void means(DecodedColumns& out) {
    const BodyReader::Head head = body_.take_head();
    const std::int32_t least = sign_extended_24(body_.take_le(3));
    ColumnValues values;
    body_.take_values(head.form, head.exceptions, count_, values);
    std::int32_t most = least;
    for (std::size_t k = 0; k < kWindowsPerBlock; ++k) {
      const std::int32_t mean_8 = least + static_cast<std::int32_t>(values[k]);
      out.mean_8[k] = mean_8;
      most = greater(most, mean_8);
    }
    if (least < 8 * kCodeMin || most > 8 * kCodeMax) body_.fail(BodyError::kRange);
  }

  void extremes(DecodedColumns& out) {
    ColumnValues below_mean;
    ColumnValues above_mean;
    take(below_mean);
    take(above_mean);
    std::int32_t least = 0;
    std::int32_t most = 0;
    for (std::size_t k = 0; k < kWindowsPerBlock; ++k) {
      const std::int32_t low = (out.mean_8[k] >> 3) - static_cast<std::int32_t>(below_mean[k]);
      const std::int32_t high = (out.mean_8[k] >> 3) + static_cast<std::int32_t>(above_mean[k]);
      out.min[k] = static_cast<std::int16_t>(low);
      out.max[k] = static_cast<std::int16_t>(high);
      least = lesser(least, low);
      most = greater(most, high);
    }
    if (least < kCodeMin || most > kCodeMax) body_.fail(BodyError::kRange);
  }

  void variances(DecodedColumns& out) {
    const BodyReader::Head head = body_.take_head();
    const std::uint32_t least = body_.take_le(2);
    ColumnValues values;
    body_.take_values(head.form, head.exceptions, count_, values);
    std::uint32_t most = 0;
    for (const std::uint32_t value : values) most = greater(most, value);
    if (least + most > kVarianceCellMax) return body_.fail(BodyError::kRange);
    const float* from_least = kVariances.data() + least;
    for (std::size_t k = 0; k < kWindowsPerBlock; ++k) out.variance[k] = from_least[values[k]];
  }

  void counts(std::array<std::uint16_t, kWindowsPerBlock>& out, bool present) {
    if (!present) return out.fill(0);
    ColumnValues values;
    take(values);
    std::uint32_t most = 0;
    for (std::size_t k = 0; k < kWindowsPerBlock; ++k) {
      out[k] = static_cast<std::uint16_t>(values[k]);
      most = greater(most, values[k]);
    }
    if (most > scans_) body_.fail(BodyError::kRange);
  }

  void take(ColumnValues& values) {
    const BodyReader::Head head = body_.take_head();
    body_.take_values(head.form, head.exceptions, count_, values);
  }

  BodyReader& body_;
  std::uint32_t scans_;
  std::uint32_t count_;
};

}  // namespace

std::expected<void, BodyError> decode_windows(std::span<const std::byte> body, std::uint32_t scans_per_window,
                                              std::uint32_t window_count, DecodedWindows& out) {
  out.window_count = 0;
  if (!window_shape_valid(scans_per_window, window_count)) return std::unexpected(BodyError::kRange);
  BodyReader reader(body);
  const std::uint32_t mask_below = reader.take_le(3);
  const std::uint32_t mask_above = reader.take_le(3);
  ChannelReader channel_reader(reader, scans_per_window, window_count);
  for (std::size_t channel = 0; channel < kChannelCount; ++channel) {
    channel_reader.read(out.channels[channel], (mask_below >> channel & 1) != 0, (mask_above >> channel & 1) != 0);
  }
  if (const auto error = reader.error()) return std::unexpected(*error);
  out.window_count = window_count;
  return {};
}

}  // namespace wire
