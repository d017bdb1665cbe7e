// SPDX-License-Identifier: Apache-2.0
#include "host/label/printable.h"

#include <algorithm>

#include <fmt/format.h>

namespace host::label {
namespace {

constexpr std::size_t kBytesMax = 200;

}  // namespace

std::string unprintable(std::string_view field, std::string_view words) {
  const auto harmful = [](unsigned char c) { return c < 0x20 || c == 0x7f; };
  if (std::ranges::any_of(words, harmful)) return fmt::format("{} holds a control character", field);
  if (words.size() > kBytesMax) return fmt::format("{} is longer than {} bytes", field, kBytesMax);
  return {};
}

}  // namespace host::label
