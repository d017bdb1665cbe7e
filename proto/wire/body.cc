// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/body.h"

#include <algorithm>
#include <bit>

namespace wire {

ColumnPlan plan_column(std::span<const std::uint32_t> values) {
  constexpr std::uint32_t kHighBitsMax = 16;  // of an exception, above the width
  std::array<std::uint8_t, 33> of_width{};
  std::uint32_t any = 0;
  for (const std::uint32_t value : values) {
    any |= value;
    ++of_width[std::bit_width(value)];
  }
  // A value above the promise is cut, never written past its column.
  const std::uint32_t width_all = std::min<std::uint32_t>(std::bit_width(any), kColumnWidthMax);
  ColumnPlan best{.width = width_all};
  std::uint32_t exceptions = 0;
  for (std::uint32_t less = 1; less <= std::min(width_all, kHighBitsMax); ++less) {
    const std::uint32_t width = width_all - less;
    exceptions += of_width[width + 1];
    if (exceptions > kColumnExceptionsMax) break;
    const ColumnPlan plan{.width = width, .exceptions = exceptions};
    if (plan.bytes(values.size()) < best.bytes(values.size())) best = plan;
  }
  return best;
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
  const std::uint32_t mask = (1U << plan.width) - 1;
  std::uint32_t pending = 0;  // at most 7 bits wait for their byte: 7 + 25 fit
  std::uint32_t pending_bits = 0;
  for (const std::uint32_t value : values) {
    pending |= (value & mask) << pending_bits;
    pending_bits += plan.width;
    for (; pending_bits >= 8; pending_bits -= 8) {
      out_[used_++] = static_cast<std::byte>(pending) ^ kBodyMask;
      pending >>= 8;
    }
  }
  if (pending_bits != 0) out_[used_++] = static_cast<std::byte>(pending) ^ kBodyMask;
  if (plan.exceptions == 0) return;
  for (std::size_t k = 0; k < values.size(); ++k) {
    const std::uint32_t high = values[k] >> plan.width;
    if (high != 0) put_le(static_cast<std::uint32_t>(k) | high << 8, 3);
  }
}

}  // namespace wire
