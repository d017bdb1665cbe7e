// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/body.h"

#include <algorithm>
#include <bit>
#include <cstring>
#include <utility>

namespace wire {

namespace {

constexpr std::uint32_t kMaskWord = 0x01010101U * std::to_integer<std::uint32_t>(kBodyMask);

// Values at a width known when compiled: each is one shift into its word, and whole words are stored, in place of a
// loop over bits (a quarter of the instructions on the chip, counted under emulation).
template <std::uint32_t kWidth>
void pack_eight(const std::uint32_t* values, std::byte* out) {
  constexpr std::uint32_t kMask = (1U << kWidth) - 1;
  std::uint32_t word = 0;
  const auto store = [&](std::size_t bytes) {
    word ^= kMaskWord;
    if constexpr (std::endian::native != std::endian::little) word = __builtin_bswap32(word);
    std::memcpy(out, &word, bytes);
    out += bytes;
  };
  const auto put = [&]<std::uint32_t kValue>() {
    constexpr std::uint32_t kBits = kValue * kWidth % 32;  // in the word before this value
    const std::uint32_t value = values[kValue] & kMask;
    word |= value << kBits;
    if constexpr (kBits + kWidth >= 32) {
      store(sizeof word);
      word = kBits + kWidth == 32 ? 0 : value >> (32 - kBits);
    }
  };
  [&]<std::uint32_t... kValues>(std::integer_sequence<std::uint32_t, kValues...>) {
    (put.template operator()<kValues>(), ...);
  }(std::make_integer_sequence<std::uint32_t, 8>());
  if constexpr (kWidth % 4 != 0) store(kWidth % 4);
}

template <std::uint32_t kWidth>
void pack_eights(const std::uint32_t* values, std::size_t eights, std::byte* out) {
  for (; eights != 0; --eights, values += 8, out += kWidth) pack_eight<kWidth>(values, out);
}

void pack_eights(std::uint32_t width, const std::uint32_t* values, std::size_t eights, std::byte* out) {
  [&]<std::uint32_t... kWidths>(std::integer_sequence<std::uint32_t, kWidths...>) {
    ((width == kWidths + 1 && (pack_eights<kWidths + 1>(values, eights, out), true)) || ...);
  }(std::make_integer_sequence<std::uint32_t, kColumnWidthMax>());
}

}  // namespace

ColumnPlan ColumnPlanner::plan(std::size_t count) const {
  constexpr std::uint32_t kHighBitsMax = 16;  // of an exception, above the width
  // A value above the promise is cut, never written past its column.
  const std::uint32_t width_all = std::min<std::uint32_t>(std::bit_width(any_), kColumnWidthMax);
  ColumnPlan best{.width = width_all};
  std::size_t best_bytes = best.bytes(count);
  const auto* of_zeros = reinterpret_cast<const std::uint8_t*>(of_zeros_.data());
  std::uint32_t exceptions = 0;
  for (std::uint32_t less = 1; less <= std::min(width_all, kHighBitsMax); ++less) {
    const std::uint32_t width = width_all - less;
    exceptions += of_zeros[31 - width];  // of one bit more
    if (exceptions > kColumnExceptionsMax) break;
    const ColumnPlan plan{.width = width, .exceptions = exceptions};
    const std::size_t bytes = plan.bytes(count);
    if (bytes >= best_bytes) continue;
    best = plan;
    best_bytes = bytes;
  }
  return best;
}

ColumnPlan plan_column(std::span<const std::uint32_t> values) {
  ColumnPlanner planner;
  for (const std::uint32_t value : values) planner.take(value);
  return planner.plan(values.size());
}

void BodyWriter::put_le(std::uint32_t value, std::size_t bytes) {
  full_ = full_ || out_.size() - used_ < bytes;
  if (full_) return;
  for (std::size_t k = 0; k < bytes; ++k) {
    out_[used_++] = static_cast<std::byte>(value) ^ kBodyMask;
    value >>= 8;
  }
}

void BodyWriter::put_values(std::span<const std::uint32_t> values, ColumnPlan plan) {
  full_ = full_ || out_.size() - used_ < plan.bytes(values.size());
  if (full_) return;
  const std::size_t eights = values.size() / 8;
  pack_eights(plan.width, values.data(), eights, out_.data() + used_);
  used_ += eights * plan.width;
  if (values.size() % 8 != 0) put_bits(values.subspan(eights * 8), plan.width);
  if (plan.exceptions == 0) return;
  for (std::size_t k = 0; k < values.size(); ++k) {
    const std::uint32_t high = values[k] >> plan.width;
    if (high != 0) put_le(static_cast<std::uint32_t>(k) | high << 8, 3);
  }
}

void BodyWriter::put_bits(std::span<const std::uint32_t> values, std::uint32_t width) {
  const std::uint32_t mask = (1U << width) - 1;
  std::uint32_t pending = 0;  // at most 7 bits wait for their byte: 7 + 25 fit
  std::uint32_t pending_bits = 0;
  for (const std::uint32_t value : values) {
    pending |= (value & mask) << pending_bits;
    pending_bits += width;
    for (; pending_bits >= 8; pending_bits -= 8) {
      out_[used_++] = static_cast<std::byte>(pending) ^ kBodyMask;
      pending >>= 8;
    }
  }
  if (pending_bits != 0) out_[used_++] = static_cast<std::byte>(pending) ^ kBodyMask;
}

}  // namespace wire
