// SPDX-License-Identifier: Apache-2.0
#include "host/detect/sag.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace host::detect {
namespace {

constexpr std::size_t kRecentParts = 32;

}  // namespace

double follow_share(double elapsed_s, double tau_s) {
  return -std::expm1(-elapsed_s / tau_s);
}

bool SagTracker::quiet(double least) const {
  return seeded_ && !open_ && frozen_scans_ == 0 && least >= reference_ * (1 - kSagStartShare);
}

void SagTracker::follow(std::uint64_t scans, double mean) {
  reference_ += follow_share(static_cast<double>(scans) / scan_rate_hz_, kSagReferenceS) * (mean - reference_);
  remember(scans, mean);
}

void SagTracker::remember(std::uint64_t scans, double mean) {
  part_sum_ += mean * static_cast<double>(scans);
  part_scans_ += scans;
  if (static_cast<double>(part_scans_) * kRecentParts < scan_rate_hz_) return;
  const double part = part_sum_ / static_cast<double>(part_scans_);
  part_sum_ = 0;
  part_scans_ = 0;
  if (recent_.size() < kRecentParts) {
    recent_.push_back(part);
    return;
  }
  recent_[recent_next_] = part;
  recent_next_ = (recent_next_ + 1) % kRecentParts;
}

std::optional<ScanSag> SagTracker::add(std::uint64_t start, std::uint32_t scans, double least, double mean) {
  if (!seeded_) {
    seeded_ = true;
    reference_ = mean;
  }
  if (open_) {
    remember(scans, mean);
    if (least >= open_->reference * (1 - kSagEndShare)) return close(start);
    if (least < open_->least) {
      open_->least = least;
      open_->at = start;
    }
    open_->end = start + scans;
    if (static_cast<double>(open_->end - open_->start) <= kSagNewLevelS * scan_rate_hz_) return std::nullopt;
    open_->new_level = true;
    std::vector<double> sorted = recent_;
    std::ranges::sort(sorted);
    if (!sorted.empty()) reference_ = sorted[sorted.size() / 2];
    return close(open_->end);
  }
  if (least < reference_ * (1 - kSagStartShare)) {
    open_ = ScanSag{.start = start, .end = start + scans, .reference = reference_, .least = least, .at = start};
    remember(scans, mean);
    return std::nullopt;
  }
  if (frozen_scans_ > 0) {
    frozen_scans_ -= std::min<std::uint64_t>(frozen_scans_, scans);
    remember(scans, mean);
    return std::nullopt;
  }
  follow(scans, mean);
  return std::nullopt;
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
  recent_.clear();
  recent_next_ = 0;
  part_sum_ = 0;
  part_scans_ = 0;
}

void SagTracker::shift(double volts) {
  if (seeded_ && !open_) reference_ += volts;
}

}  // namespace host::detect
