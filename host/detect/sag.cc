// SPDX-License-Identifier: Apache-2.0
#include "host/detect/sag.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace host::detect {
double follow_share(double elapsed_s, double tau_s) {
  return -std::expm1(-elapsed_s / tau_s);
}

bool SagTracker::quiet(double least) const {
  return seeded_ && !open_ && frozen_scans_ == 0 && least >= reference_ * (1 - kSagStartShare);
}

void SagTracker::follow(std::uint64_t scans, double mean) {
  reference_ += follow_share(static_cast<double>(scans) / scan_rate_hz_, kSagReferenceS) * (mean - reference_);
  stood_scans_ = 0;
  recent_.clear();
  recent_scans_ = 0;
}

void SagTracker::remember(std::uint64_t scans, double mean) {
  recent_.push_back({scans, mean});
  recent_scans_ += scans;
  while (static_cast<double>(recent_scans_ - recent_.front().scans) >= scan_rate_hz_) {
    recent_scans_ -= recent_.front().scans;
    recent_.pop_front();
  }
}

double SagTracker::recent_median() const {
  std::vector<Part> sorted(recent_.begin(), recent_.end());
  std::ranges::sort(sorted, {}, &Part::mean);
  std::uint64_t below = 0;
  std::size_t middle = 0;
  while (2 * (below + sorted[middle].scans) < recent_scans_) below += sorted[middle++].scans;
  const bool between = 2 * (below + sorted[middle].scans) == recent_scans_;
  return between ? (sorted[middle].mean + sorted[middle + 1].mean) / 2 : sorted[middle].mean;
}

bool SagTracker::stands_too_long(std::uint32_t scans) {
  stood_scans_ += scans;
  if (static_cast<double>(stood_scans_) < kSagNewLevelS * scan_rate_hz_) return false;
  reference_ = recent_median();
  frozen_scans_ = 0;
  stood_scans_ = 0;
  return true;
}

std::optional<ScanSag> SagTracker::add(std::uint64_t start, std::uint32_t scans, double least, double mean) {
  if (!seeded_) {
    seeded_ = true;
    reference_ = mean;
  }
  std::optional<ScanSag> ended;
  if (open_ && least >= open_->reference * (1 - kSagEndShare)) ended = close(start);
  if (!open_ && least < reference_ * (1 - kSagStartShare)) {
    open_ = ScanSag{.start = start, .reference = reference_, .least = least, .at = start};
  }
  if (!open_ && frozen_scans_ == 0) {
    follow(scans, mean);
    return ended;
  }
  remember(scans, mean);
  if (!open_) {
    frozen_scans_ -= std::min<std::uint64_t>(frozen_scans_, scans);
    stands_too_long(scans);
    return ended;
  }
  if (least < open_->least) {
    open_->least = least;
    open_->at = start;
  }
  open_->end = start + scans;
  if (stands_too_long(scans)) {
    open_->new_level = true;
    ended = close(open_->end);
  }
  return ended;
}

std::optional<ScanSag> SagTracker::close(std::uint64_t end) {
  ScanSag ended = *std::exchange(open_, std::nullopt);
  ended.end = end;
  frozen_scans_ = ended.new_level ? 0 : static_cast<std::uint64_t>(std::llround(kSagFreezeS * scan_rate_hz_));
  return ended;
}

std::optional<ScanSag> SagTracker::cut() {
  std::optional<ScanSag> ended;
  if (open_) {
    ended = close(open_->end);
    ended->truncated = true;
  }
  return ended;
}

void SagTracker::forget() {
  open_.reset();
  seeded_ = false;
  frozen_scans_ = 0;
  stood_scans_ = 0;
  recent_.clear();
  recent_scans_ = 0;
}

void SagTracker::shift(double volts) {
  if (!seeded_ || open_) return;
  reference_ += volts;
  for (Part& part : recent_) part.mean += volts;
}

}  // namespace host::detect
