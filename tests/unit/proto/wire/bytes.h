// SPDX-License-Identifier: Apache-2.0
// Bytes from and to readable hex.
#pragma once

#include <cctype>
#include <cstddef>
#include <cstdint>
#include <initializer_list>
#include <random>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace wire {

using Bytes = std::vector<std::byte>;

/// From hex digits; everything else between them is skipped.
inline Bytes from_hex(std::string_view text) {
  Bytes bytes;
  int high = -1;
  for (const char c : text) {
    if (std::isxdigit(static_cast<unsigned char>(c)) == 0) continue;
    const int digit = c <= '9' ? c - '0' : (c | 0x20) - 'a' + 10;
    if (high < 0) {
      high = digit;
    } else {
      bytes.push_back(static_cast<std::byte>(high << 4 | digit));
      high = -1;
    }
  }
  return bytes;
}

inline std::string to_hex(std::span<const std::byte> bytes) {
  constexpr std::string_view kDigits = "0123456789ABCDEF";
  std::string text;
  for (const std::byte b : bytes) {
    if (!text.empty()) text += ' ';
    text += kDigits[std::to_integer<std::size_t>(b) >> 4];
    text += kDigits[std::to_integer<std::size_t>(b) & 15];
  }
  return text;
}

/// first, first + 1, ... last.
inline Bytes counting(int first, int last) {
  Bytes bytes;
  for (int value = first; value <= last; ++value) bytes.push_back(static_cast<std::byte>(value));
  return bytes;
}

inline Bytes operator+(Bytes left, const Bytes& right) {
  left.insert(left.end(), right.begin(), right.end());
  return left;
}

/// Random bytes of which about one in `zero_every` is 0.
inline Bytes random_bytes(std::mt19937& random, std::size_t count, unsigned zero_every) {
  Bytes bytes(count);
  for (std::byte& b : bytes) b = random() % zero_every == 0 ? std::byte{0} : static_cast<std::byte>(random() % 256);
  return bytes;
}

}  // namespace wire
