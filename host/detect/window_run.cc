// SPDX-License-Identifier: Apache-2.0
#include "host/detect/window_run.h"

namespace host::detect {

void WindowRunTracker::add(const Block& block, std::vector<WindowRun>& ended) {
  if (!block.follows) cut(ended);
  if (!open_ && !touches(block)) return;
  for (std::uint32_t i = 0; i < block.count; ++i) step(block, i, ended);
}

void WindowRunTracker::step(const Block& block, std::uint32_t window, std::vector<WindowRun>& ended) {
  if ((block.due(rail_) >> window & 1U) == 0) {
    run_.into_off = true;
    if (open_) ended.push_back(run_);
    open_ = false;
    return;
  }
  const auto& columns = block.windows->channels[channel_];
  const std::int32_t sign = rule_.side == judge::Side::kLow ? 1 : -1;
  const std::int32_t outer = sign * (sign > 0 ? columns.min[window] : columns.max[window]);
  const std::int32_t inner = sign * (sign > 0 ? columns.max[window] : columns.min[window]);
  const std::int32_t limit = sign * rule_.limit;
  const bool touched = outer < limit;
  if (!touched) {
    if (!open_) return;
    // Released somewhere in a window before, or in this one; without a release it goes on inside the hysteresis.
    if (inner >= sign * rule_.release) {
      open_ = false;
      ended.push_back(run_);
      return;
    }
  }
  if (!open_) {
    open_ = true;
    run_ = WindowRun{};
    run_.channel = channel_;
    run_.side = rule_.side;
    run_.start = block.start_of(window);
    run_.window_scans = block.scans;
    run_.extreme = sign * outer;
    run_.extreme_window = run_.start;
    run_.armed_set = block.armed_set;
  }
  run_.end = block.start_of(window) + block.scans;
  run_.window_scans = block.scans > run_.window_scans ? block.scans : run_.window_scans;
  ++run_.windows;
  run_.touched += touched ? 1 : 0;
  run_.beyond += sign > 0 ? columns.below[window] : columns.above[window];
  run_.mean_beyond = run_.mean_beyond || sign * columns.mean_8[window] < 8 * limit;
  if (block.armed_set != run_.armed_set) run_.armed_set = 0;
  if (outer < sign * run_.extreme) {
    run_.extreme = sign * outer;
    run_.extreme_window = block.start_of(window);
  }
}

void WindowRunTracker::cut(std::vector<WindowRun>& ended) {
  if (!open_) return;
  open_ = false;
  run_.truncated = true;
  ended.push_back(run_);
}

}  // namespace host::detect
