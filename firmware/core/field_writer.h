// SPDX-License-Identifier: Apache-2.0
// Protobuf's wire format by hand, for what is encoded thousands of times a second: nanopb goes through descriptors and
// encodes every nested message twice. Zeros are left out, as proto3 does.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

namespace firmware {

class FieldWriter {
 public:
  /// `out` must hold everything that is put.
  explicit FieldWriter(std::span<std::byte> out) : out_(out) {}

  std::size_t bytes() const { return bytes_; }

  void put(std::uint32_t field, std::uint64_t value) {
    if (value == 0) return;
    tag(field, kVarint);
    varint(value);
  }
  void put_signed(std::uint32_t field, std::int32_t value) { put(field, zigzag(value)); }

  void put_packed(std::uint32_t field, std::span<const std::int32_t> values) {
    if (values.empty()) return;
    std::size_t length = 0;
    for (const std::int32_t value : values) length += varint_bytes(zigzag(value));
    open(field, length);
    for (const std::int32_t value : values) varint(zigzag(value));
  }

  /// Tag and length of a message or packed field whose `length` bytes are put next.
  void open(std::uint32_t field, std::size_t length) {
    tag(field, kDelimited);
    varint(length);
  }

  void put_bytes(std::span<const std::byte> bytes) {
    for (const std::byte value : bytes) out_[bytes_++] = value;
  }

 private:
  enum WireType : std::uint32_t { kVarint = 0, kDelimited = 2 };

  static std::uint32_t zigzag(std::int32_t value) {
    return static_cast<std::uint32_t>(value) << 1 ^ static_cast<std::uint32_t>(value >> 31);
  }
  static std::size_t varint_bytes(std::uint32_t value) {
    std::size_t bytes = 1;
    while ((value >>= 7) != 0) ++bytes;
    return bytes;
  }
  void tag(std::uint32_t field, WireType type) { varint(field << 3 | type); }
  void varint(std::uint64_t value) {
    for (; value > 0x7F; value >>= 7) out_[bytes_++] = static_cast<std::byte>(value & 0x7F) | std::byte{0x80};
    out_[bytes_++] = static_cast<std::byte>(value);
  }

  std::span<std::byte> out_;
  std::size_t bytes_ = 0;
};

}  // namespace firmware
