// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/capture_codec.h"

#include <algorithm>

#include "proto/wire/body.h"

namespace wire {
namespace {

constexpr std::size_t kReferenceBytes = 2;

/// Differences of neighbours with the sign in the lowest bit: small either way. The first stands for itself: 0.
void zig_zag_differences(std::span<const std::int16_t> codes, ColumnValues& out) {
  out[0] = 0;
  for (std::size_t k = 1; k < codes.size(); ++k) {
    const std::int32_t step = codes[k] - codes[k - 1];
    out[k] = (static_cast<std::uint32_t>(step) << 1) ^ static_cast<std::uint32_t>(step >> 31);
  }
}

void distances(std::span<const std::int16_t> codes, std::int16_t least, ColumnValues& out) {
  for (std::size_t k = 0; k < codes.size(); ++k) out[k] = static_cast<std::uint32_t>(codes[k] - least);
}

}  // namespace

std::size_t encode_capture_column(std::span<const std::int16_t> codes, std::span<std::byte> out) {
  ColumnValues values;
  const std::span<const std::uint32_t> used{values.data(), codes.size()};
  zig_zag_differences(codes, values);
  const ColumnPlan by_steps = plan_column(used);
  const std::int16_t least = *std::ranges::min_element(codes);
  distances(codes, least, values);
  const ColumnPlan by_distance = plan_column(used);

  BodyWriter writer(out);
  if (by_steps.width <= kCaptureStepWidthMax && by_steps.bytes(codes.size()) < by_distance.bytes(codes.size())) {
    zig_zag_differences(codes, values);
    writer.put_head(kCaptureStepForm + by_steps.width, by_steps.exceptions);
    writer.put_le(static_cast<std::uint16_t>(codes[0]), kReferenceBytes);
    writer.put_values(used, by_steps);
  } else {
    writer.put_head(by_distance.width, by_distance.exceptions);
    writer.put_le(static_cast<std::uint16_t>(least), kReferenceBytes);
    writer.put_values(used, by_distance);
  }
  return writer.bytes();
}

}  // namespace wire
