// SPDX-License-Identifier: Apache-2.0
#include <bit>
#include <cstring>

#include "proto/wire/body_reader.h"

namespace wire {

void unpack_values_plain(const std::byte* packed, std::uint32_t width, ColumnValues& out) {
  const std::uint32_t mask = (1U << width) - 1;
  std::uint32_t bit = 0;
  for (std::uint32_t& value : out) {
    const std::byte* at = packed + bit / 8;
    const std::uint32_t word = std::to_integer<std::uint32_t>(at[0]) | std::to_integer<std::uint32_t>(at[1]) << 8 |
                               std::to_integer<std::uint32_t>(at[2]) << 16 |
                               std::to_integer<std::uint32_t>(at[3]) << 24;
    value = word >> bit % 8 & mask;
    bit += width;
  }
}

void unpack_values(const std::byte* packed, std::uint32_t width, ColumnValues& out) {
  unpack_values_plain(packed, width, out);
}

}  // namespace wire
