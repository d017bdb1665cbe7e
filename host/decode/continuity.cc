// SPDX-License-Identifier: Apache-2.0
#include "host/decode/continuity.h"

#include <algorithm>

#include "proto/wire/window.h"

namespace host::decode {
namespace {

using steadyrail::proto::LossCause;

// The graver cause explains the lesser: a reset or a lost port also leaves damaged frames and sequence gaps.
int gravity(LossCause cause) {
  switch (cause) {
    case steadyrail::proto::LOSS_CAUSE_RESET:
      return 6;
    case steadyrail::proto::LOSS_CAUSE_PORT_GONE:
      return 5;
    case steadyrail::proto::LOSS_CAUSE_DISK_FULL:
      return 4;
    case steadyrail::proto::LOSS_CAUSE_OVERLONG:
      return 3;
    case steadyrail::proto::LOSS_CAUSE_DAMAGED:
      return 2;
    case steadyrail::proto::LOSS_CAUSE_SEQUENCE_GAP:
      return 1;
    default:
      return 0;
  }
}

}  // namespace

void Continuity::blame(LossCause cause) {
  if (!begun_ && !start_at_least_) start_at_least_ = last_acknowledged_;
  if (gravity(cause) > gravity(blamed_)) blamed_ = cause;
}

Continuity::Placed Continuity::place(std::uint64_t first, std::uint64_t end, std::uint32_t scans_per_window) {
  Placed placed;
  if (!begun_) {
    begun_ = true;
    first_ = end_ = blamed_ != steadyrail::proto::LOSS_CAUSE_UNKNOWN && start_at_least_ && *start_at_least_ < first
                        ? *start_at_least_
                        : first;
  }
  if (first < end_) {
    placed.stale = true;
    return placed;
  }
  if (first > end_) placed.gap = add_gap(end_, first, steadyrail::proto::LOSS_CAUSE_OVERRUN);
  blamed_ = steadyrail::proto::LOSS_CAUSE_UNKNOWN;
  end_ = end;
  seen_ += end - first;
  scans_per_window_ = scans_per_window;
  was_running_ = true;
  if (stopped_at_ && *stopped_at_ < end) stopped_at_.reset();
  return placed;
}

void Continuity::acknowledged(std::uint64_t scan) {
  last_acknowledged_ = scan;
  present_ = std::max(present_, scan);
}

void Continuity::present(std::uint64_t scan, std::optional<bool> running) {
  present_ = std::max(present_, scan);
  if (!running) return;
  if (*running) {
    was_running_ = true;
    stopped_at_.reset();
  } else if (was_running_ && !stopped_at_) {
    stopped_at_ = scan;
  }
}

std::optional<ScanGap> Continuity::finish() {
  if (!begun_) return std::nullopt;
  std::uint64_t end = end_;
  if (stopped_at_) {
    if (*stopped_at_ >= end_ + scans_per_window_) end = *stopped_at_;
  } else if (present_ > end_ + std::uint64_t{2} * wire::kWindowsPerBlock * scans_per_window_) {
    // Windows run up to two blocks behind the jig's present: one being filled, one on its way.
    end = present_;
  }
  if (end == end_) return std::nullopt;
  const ScanGap gap = add_gap(end_, end, steadyrail::proto::LOSS_CAUSE_SEQUENCE_GAP);
  end_ = end;
  return gap;
}

ScanGap Continuity::add_gap(std::uint64_t from, std::uint64_t to, LossCause fallback) {
  const ScanGap gap{from, to, blamed_ == steadyrail::proto::LOSS_CAUSE_UNKNOWN ? fallback : blamed_};
  ++gaps_total_;
  missing_ += to - from;
  if (gaps_.size() < kGapsListedMax) gaps_.push_back(gap);
  return gap;
}

}  // namespace host::decode
