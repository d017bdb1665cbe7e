// SPDX-License-Identifier: Apache-2.0
#include "host/detect/excursion.h"

#include <utility>

namespace host::detect {

ExcursionTracker::ExcursionTracker(const ExcursionRule& rule)
    : rule_(rule), sign_(rule.side == judge::Side::kLow ? 1 : -1) {
  rule_.limit *= sign_;
  rule_.release *= sign_;
  if (rule_.keep) *rule_.keep *= sign_;
}

void ExcursionTracker::feed(std::uint64_t first, std::span<const std::int32_t> levels) {
  if (first != next_) cut();
  next_ = first;
  for (std::int32_t level : levels) push(next_++, sign_ * level);
}

void ExcursionTracker::push(std::uint64_t scan, std::int32_t level) {
  if (open_ && level >= rule_.release) close(scan, false);
  if (!open_) {
    if (level >= rule_.limit) {
      if (waiting_ && scan - waiting_->end >= rule_.merge_scans) settle();
      return;
    }
    open_ = ScanExcursion{.start = scan, .end = scan, .extreme = level, .at = scan};
  }
  if (level < open_->extreme) {
    open_->extreme = level;
    open_->at = scan;
  }
  if (level < rule_.limit) {
    open_->area += static_cast<std::uint64_t>(rule_.limit - level);
    ++open_->beyond;
  }
}

void ExcursionTracker::close(std::uint64_t end, bool truncated) {
  ScanExcursion ended = *std::exchange(open_, std::nullopt);
  ended.end = end;
  ended.truncated = truncated;
  if (waiting_ && ended.start - waiting_->end > rule_.merge_scans) settle();
  if (!waiting_) {
    waiting_ = ended;
    return;
  }
  if (ended.extreme < waiting_->extreme) {
    waiting_->extreme = ended.extreme;
    waiting_->at = ended.at;
  }
  waiting_->end = ended.end;
  waiting_->area += ended.area;
  waiting_->beyond += ended.beyond;
  waiting_->truncated = ended.truncated;
}

void ExcursionTracker::settle() {
  ScanExcursion ended = *std::exchange(waiting_, std::nullopt);
  const bool deep = rule_.keep && ended.extreme <= *rule_.keep;
  if (ended.end - ended.start < rule_.least_scans && !deep) {
    ++dropped_;
    return;
  }
  ended.extreme *= sign_;
  kept_.push_back(ended);
}

void ExcursionTracker::cut() {
  if (open_) close(next_, true);
  if (waiting_) settle();
}

std::vector<ScanExcursion> ExcursionTracker::take() {
  return std::exchange(kept_, {});
}

std::vector<ScanExcursion> track_excursions(std::span<const std::int32_t> levels, const ExcursionRule& rule) {
  ExcursionTracker tracker(rule);
  tracker.feed(0, levels);
  tracker.cut();
  return tracker.take();
}

}  // namespace host::detect
