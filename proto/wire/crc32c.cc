// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/crc32c.h"

#include <array>
#include <cstring>

#if defined(__SSE4_2__)
#include <nmmintrin.h>
#endif

namespace wire {
namespace {

constexpr std::uint32_t kReflectedPolynomial = 0x82F63B78;  // 0x1EDC6F41 with its bits reversed

using Table = std::array<std::uint32_t, 256>;

/// tables[k][b]: what byte b does to the checksum when k more bytes follow it in the same step.
template <std::size_t Depth>
constexpr std::array<Table, Depth> make_tables() {
  std::array<Table, Depth> tables{};
  for (std::uint32_t byte = 0; byte < 256; ++byte) {
    std::uint32_t rest = byte;
    for (int bit = 0; bit < 8; ++bit) rest = (rest >> 1) ^ ((rest & 1) != 0 ? kReflectedPolynomial : 0);
    tables[0][byte] = rest;
  }
  for (std::size_t k = 1; k < Depth; ++k) {
    for (std::size_t byte = 0; byte < 256; ++byte) {
      const std::uint32_t rest = tables[k - 1][byte];
      tables[k][byte] = (rest >> 8) ^ tables[0][rest & 0xFF];
    }
  }
  return tables;
}

/// Eight bytes a step where 8 KiB of tables fit the cache; four on the 32-bit chip.
constexpr std::size_t kDepth = sizeof(void*) >= 8 ? 8 : 4;
constexpr std::array<Table, kDepth> kTables = make_tables<kDepth>();

std::uint32_t load_le32(const std::byte* at) {
  return std::to_integer<std::uint32_t>(at[0]) | std::to_integer<std::uint32_t>(at[1]) << 8 |
         std::to_integer<std::uint32_t>(at[2]) << 16 | std::to_integer<std::uint32_t>(at[3]) << 24;
}

std::uint32_t step_byte(std::uint32_t rest, std::byte next) {
  return (rest >> 8) ^ kTables[0][(rest ^ std::to_integer<std::uint32_t>(next)) & 0xFF];
}

template <std::size_t Depth>
std::uint32_t step_eight(const std::array<Table, Depth>& tables, std::uint32_t rest, const std::byte* at) {
  const std::uint32_t low = rest ^ load_le32(at);
  const std::uint32_t high = load_le32(at + 4);
  return tables[7][low & 0xFF] ^ tables[6][low >> 8 & 0xFF] ^ tables[5][low >> 16 & 0xFF] ^ tables[4][low >> 24] ^
         tables[3][high & 0xFF] ^ tables[2][high >> 8 & 0xFF] ^ tables[1][high >> 16 & 0xFF] ^ tables[0][high >> 24];
}

template <std::size_t Depth>
std::uint32_t step_four(const std::array<Table, Depth>& tables, std::uint32_t rest, const std::byte* at) {
  const std::uint32_t word = rest ^ load_le32(at);
  return tables[3][word & 0xFF] ^ tables[2][word >> 8 & 0xFF] ^ tables[1][word >> 16 & 0xFF] ^ tables[0][word >> 24];
}

template <std::size_t Depth>
std::uint32_t by_table(const std::array<Table, Depth>& tables, std::span<const std::byte> bytes, std::uint32_t rest) {
  if constexpr (Depth == 8) {
    for (; bytes.size() >= 8; bytes = bytes.subspan(8)) rest = step_eight(tables, rest, bytes.data());
  }
  if constexpr (Depth == 4) {
    for (; bytes.size() >= 4; bytes = bytes.subspan(4)) rest = step_four(tables, rest, bytes.data());
  }
  for (const std::byte next : bytes) rest = step_byte(rest, next);
  return rest;
}

}  // namespace

std::uint32_t crc32c_by_table(std::span<const std::byte> bytes, std::uint32_t before) {
  return ~by_table(kTables, bytes, ~before);
}

std::uint32_t crc32c(std::span<const std::byte> bytes, std::uint32_t before) {
#if defined(__SSE4_2__)
  std::uint64_t rest = ~before;
  for (; bytes.size() >= 8; bytes = bytes.subspan(8)) {
    std::uint64_t word;
    std::memcpy(&word, bytes.data(), sizeof word);
    rest = _mm_crc32_u64(rest, word);
  }
  auto rest_32 = static_cast<std::uint32_t>(rest);
  for (const std::byte next : bytes) rest_32 = _mm_crc32_u8(rest_32, std::to_integer<std::uint8_t>(next));
  return ~rest_32;
#else
  return crc32c_by_table(bytes, before);
#endif
}

}  // namespace wire
