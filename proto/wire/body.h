// SPDX-License-Identifier: Apache-2.0
// What window and capture bodies are made of: columns of up to 32 small numbers at one bit width, with exceptions.
// Layout: proto/wire.md, "columns".
#pragma once

#include <array>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <span>
#include <utility>

namespace wire {

inline constexpr std::size_t kColumnValuesMax = 32;
inline constexpr std::uint32_t kColumnWidthMax = 25;  // bits: a value and its start within a byte fit 32
inline constexpr std::uint32_t kColumnExceptionsMax = 7;
inline constexpr std::byte kBodyMask{0xA5};  // bytes of a body are sent XOR this: most packed zeros stop being zero

enum class BodyError : std::uint8_t {
  kTruncated,  // the body ends inside a column
  kTrailing,   // bytes are left over
  kWidth,      // a width or an exception that no encoder writes
  kRange,      // a value outside 16-bit codes
};

using ColumnValues = std::array<std::uint32_t, kColumnValuesMax>;

constexpr std::size_t packed_bytes(std::size_t count, std::uint32_t width) {
  return (count * width + 7) / 8;
}

/// How a column is packed: the width, and how many values exceed it.
struct ColumnPlan {
  std::uint32_t width = 0;
  std::uint32_t exceptions = 0;

  /// Bytes of values and exceptions; head and reference not included.
  constexpr std::size_t bytes(std::size_t count) const { return packed_bytes(count, width) + 3 * exceptions; }
};

/// Takes the values of a column (1..32 of them, below 2^25) one by one, and plans it.
class ColumnPlanner {
 public:
  ColumnPlanner() { clear(std::make_index_sequence<kWords>()); }

  void take(std::uint32_t value) {
    any_ |= value;
    ++reinterpret_cast<std::uint8_t*>(of_zeros_.data())[std::countl_zero(value)];
  }
  /// The plan of fewest bytes for the `count` values taken, at equal bytes that of fewest exceptions.
  ColumnPlan plan(std::size_t count) const;

 private:
  static constexpr std::size_t kWords = 9;

  // One by one: a call of the library's memset costs more than nine stores.
  template <std::size_t... kIndices>
  void clear(std::index_sequence<kIndices...>) {
    ((of_zeros_[kIndices] = 0), ...);
  }

  std::uint32_t any_ = 0;
  std::array<std::uint32_t, kWords> of_zeros_;  // bytes: values by their leading zeros, 0..32
};

/// The plan for `values`.
ColumnPlan plan_column(std::span<const std::uint32_t> values);

/// Writes a body, masked, within `out`. Past its end nothing more is written and bytes() is 0.
class BodyWriter {
 public:
  explicit BodyWriter(std::span<std::byte> out) : out_(out) {}

  void put_le(std::uint32_t value, std::size_t bytes);
  void put_head(std::uint32_t form, std::uint32_t exceptions) { put_le(form | exceptions << 5, 1); }
  void put_values(std::span<const std::uint32_t> values, ColumnPlan plan);

  bool full() const { return full_; }
  std::size_t bytes() const { return full_ ? 0 : used_; }

 private:
  void put_bits(std::span<const std::uint32_t> values, std::uint32_t width);

  std::span<std::byte> out_;
  std::size_t used_ = 0;
  bool full_ = false;
};

}  // namespace wire
