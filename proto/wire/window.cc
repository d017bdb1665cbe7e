// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/window.h"

#include <algorithm>

namespace wire {
namespace {

void merge_channel(WindowColumns& columns, std::size_t pairs) {
  for (std::size_t k = 0; k < pairs; ++k) {
    const std::size_t a = 2 * k;
    const std::size_t b = a + 1;
    // n*S2 - S1^2 of both together, S2 being the sum of squares: 2n(S2a + S2b) - (S1a + S1b)^2
    //   = 2(M2a + S1a^2 + M2b + S1b^2) - (S1a + S1b)^2 = 2(M2a + M2b) + (S1a - S1b)^2.
    const std::int64_t apart = static_cast<std::int64_t>(columns.sum[a]) - columns.sum[b];
    columns.m2[k] = 2 * (columns.m2[a] + columns.m2[b]) + apart * apart;
    columns.sum[k] = columns.sum[a] + columns.sum[b];
    columns.min[k] = std::min(columns.min[a], columns.min[b]);
    columns.max[k] = std::max(columns.max[a], columns.max[b]);
    columns.below[k] = static_cast<std::uint16_t>(columns.below[a] + columns.below[b]);
    columns.above[k] = static_cast<std::uint16_t>(columns.above[a] + columns.above[b]);
  }
}

}  // namespace

bool merge_pairs(WindowBlock& block) {
  if (block.window_count % 2 != 0 || block.window_count == 0 || block.scans_per_window > kScansPerWindowMax / 2) {
    return false;
  }
  block.window_count /= 2;
  for (WindowColumns& columns : block.channels) merge_channel(columns, block.window_count);
  block.scans_per_window *= 2;
  return true;
}

}  // namespace wire
