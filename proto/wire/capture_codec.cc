// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/capture_codec.h"

#include "proto/wire/body.h"
#include "proto/wire/lesser.h"

namespace wire {
namespace {

constexpr std::size_t kReferenceBytes = 2;

/// A column of values with their plan.
struct Planned {
  ColumnValues values;
  ColumnPlanner planner;

  void put(std::size_t k, std::uint32_t value) {
    values[k] = value;
    planner.take(value);
  }
};

}  // namespace

std::size_t encode_capture_column(std::span<const std::int16_t> codes, std::span<std::byte> out) {
  const std::size_t count = codes.size();
  const std::int32_t first = codes[0];
  // Differences of neighbours with the sign in the lowest bit: small either way. The first stands for itself: 0.
  Planned steps;
  std::int32_t before = first;
  std::int32_t least = first;
#pragma GCC unroll 4
  for (std::size_t k = 0; k < count; ++k) {
    const std::int32_t code = codes[k];
    const std::int32_t step = code - before;
    steps.put(k, (static_cast<std::uint32_t>(step) << 1) ^ static_cast<std::uint32_t>(step >> 31));
    least = lesser(least, code);
    before = code;
  }
  Planned distances;
#pragma GCC unroll 4
  for (std::size_t k = 0; k < count; ++k) distances.put(k, static_cast<std::uint32_t>(codes[k] - least));

  const ColumnPlan by_steps = steps.planner.plan(count);
  const ColumnPlan by_distance = distances.planner.plan(count);
  const bool in_steps = by_steps.width <= kCaptureStepWidthMax && by_steps.bytes(count) < by_distance.bytes(count);
  const ColumnPlan plan = in_steps ? by_steps : by_distance;
  BodyWriter writer(out);
  writer.put_head(in_steps ? kCaptureStepForm + plan.width : plan.width, plan.exceptions);
  writer.put_le(static_cast<std::uint16_t>(in_steps ? first : least), kReferenceBytes);
  writer.put_values({in_steps ? steps.values.data() : distances.values.data(), count}, plan);
  return writer.bytes();
}

}  // namespace wire
