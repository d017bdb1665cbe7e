// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/body_reader.h"

#include <algorithm>
#include <bit>

namespace wire {

BodyReader::BodyReader(std::span<const std::byte> body) : size_(body.size()) {
  if (body.size() > kWindowBodyBytesMax) {
    size_ = 0;
    fail(BodyError::kTrailing);
  }
  std::copy_n(body.begin(), size_, bytes_.begin());
  // In whole strides: a loop of known length becomes a few vector instructions. What it does past the end is cleared.
  constexpr std::size_t kStride = 32;
  static_assert(kReadAhead >= kStride);
  for (std::size_t first = 0; first < size_; first += kStride) {
    for (std::size_t k = 0; k < kStride; ++k) bytes_[first + k] ^= kBodyMask;
  }
  std::fill_n(bytes_.begin() + static_cast<std::ptrdiff_t>(size_), kReadAhead, std::byte{0});
}

bool BodyReader::truncated() {
  fail(BodyError::kTruncated);
  read_ = size_;
  return false;
}

void BodyReader::take_values(std::uint32_t width, std::uint32_t exceptions, std::size_t count, ColumnValues& out) {
  const std::size_t at = read_;
  if (width > kColumnWidthMax) fail(BodyError::kWidth);
  if (width > kColumnWidthMax || !take(packed_bytes(count, width))) {
    out.fill(0);
    return;
  }
  unpack_values(bytes_.data() + at, width, out);
  if (count < out.size()) std::fill(out.begin() + count, out.end(), 0U);
  if (exceptions != 0) take_exceptions(width, exceptions, count, out);
}

void BodyReader::take_exceptions(std::uint32_t width, std::uint32_t exceptions, std::size_t count, ColumnValues& out) {
  std::size_t least_index = 0;
  for (std::uint32_t k = 0; k < exceptions; ++k) {
    const std::size_t index = take_le(1);
    const std::uint32_t high = take_le(2);
    if (error_) return;
    if (index < least_index || index >= count || high == 0) return fail(BodyError::kWidth);
    if (width + static_cast<std::uint32_t>(std::bit_width(high)) > kColumnWidthMax) return fail(BodyError::kRange);
    out[index] |= high << width;
    least_index = index + 1;
  }
}

std::optional<BodyError> BodyReader::error() const {
  if (error_) return error_;
  if (read_ != size_) return BodyError::kTrailing;
  return std::nullopt;
}

}  // namespace wire
