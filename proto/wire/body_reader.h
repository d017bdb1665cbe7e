// SPDX-License-Identifier: Apache-2.0
// Reads a body's columns. For hosts: the unmasked copy it reads takes 8 KiB of stack.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "proto/wire/body.h"
#include "proto/wire/window_codec.h"

namespace wire {

/// Reads past the end yield zeros and leave an error behind; so a caller checks once, after the last column.
class BodyReader {
 public:
  explicit BodyReader(std::span<const std::byte> body);

  struct Head {
    std::uint32_t form;  // 5 bits
    std::uint32_t exceptions;
  };

  Head take_head() {
    const std::uint32_t head = take_le(1);
    return {.form = head & 31, .exceptions = head >> 5};
  }
  /// Up to 4 bytes.
  std::uint32_t take_le(std::size_t bytes) {
    const std::byte* at = bytes_.data() + read_;
    if (!take(bytes)) return 0;
    std::uint32_t value = 0;
    for (std::size_t k = 0; k < bytes; ++k) value |= std::to_integer<std::uint32_t>(at[k]) << (8 * k);
    return value;
  }
  /// Values from `count` on are 0.
  void take_values(std::uint32_t width, std::uint32_t exceptions, std::size_t count, ColumnValues& out);

  /// Keeps the first error.
  void fail(BodyError error) {
    if (!error_) error_ = error;
  }
  /// The first error met; kTrailing when none was and bytes are left.
  std::optional<BodyError> error() const;

 private:
  static constexpr std::size_t kReadAhead = 4 * kColumnWidthMax + 16;  // what unpacking 32 values may touch

  bool take(std::size_t bytes) {
    if (size_ - read_ < bytes) return truncated();
    read_ += bytes;
    return true;
  }
  bool truncated();
  void take_exceptions(std::uint32_t width, std::uint32_t exceptions, std::size_t count, ColumnValues& out);

  std::array<std::byte, kWindowBodyBytesMax + kReadAhead> bytes_;
  std::size_t size_;
  std::size_t read_ = 0;
  std::optional<BodyError> error_;
};

/// Unpacks 32 values of `width` bits that begin at `packed`; touches 4 * 25 + 16 bytes from there at most.
void unpack_values(const std::byte* packed, std::uint32_t width, ColumnValues& out);

/// The same without vector instructions.
void unpack_values_plain(const std::byte* packed, std::uint32_t width, ColumnValues& out);

}  // namespace wire
