// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/excursion_reporter.h"

#include <algorithm>

namespace firmware {

void ExcursionReporter::begin(const ArmedSet& armed, std::uint32_t events_per_s, std::uint64_t first_scan) {
  armed_ = &armed;
  for (std::size_t k = 0; k < armed.limit_count; ++k) trackers_[k].arm(k, armed.limits[k]);
  budget_ = RateLimit(events_per_s, events_per_s);
  budget_.begin(first_scan);
  now_ = first_scan;
  storms_told_scan_ = first_scan;
}

void ExcursionReporter::on_block(const ScanBlock& block, const ScanSums& sums) {
  now_ = block.first_scan + wire::kScansPerBlock;
  for (std::size_t k = 0; k < armed_->limit_count; ++k) {
    trackers_[k].on_block(block, sums.channels[armed_->limits[k].channel], *this);
  }
  if (now_ - storms_told_scan_ >= kScansPerSecond) tell_storms();
}

void ExcursionReporter::close(std::uint64_t scan) {
  for (std::size_t k = 0; k < armed_->limit_count; ++k) trackers_[k].close(scan, *this);
  tell_storms();
}

void ExcursionReporter::end(std::uint64_t scan) {
  close(scan);
  for (Storm& storm : storms_) {
    count_up(health_.events_dropped, storm.excursions);
    storm = Storm{};
  }
}

Attention ExcursionReporter::attention(const ScanBlock& block) const {
  if (!budget_.spent_at(now_)) return Attention::kEach;
  return captures_.answers_alike(block.first_scan, now_ - 1) ? Attention::kCountsAlike : Attention::kCounts;
}

void ExcursionReporter::counted(std::size_t index, const CountedExcursions& counted, bool alike) {
  if (alike) captures_.trigger_alike(counted.excursions, counted.last_start_scan);
  count(index, counted);
}

void ExcursionReporter::certain(std::size_t index, std::uint64_t start_scan) {
  captures_.trigger({.cause = CaptureCause::kExcursion, .scan = start_scan, .channel = armed_->limits[index].channel});
}

void ExcursionReporter::ended(std::size_t index, const TrackedExcursion& excursion) {
  if (budget_.take(now_) && tell(armed_->limits[index], excursion)) return;
  count(index, {.excursions = 1,
                .first_scan = excursion.start_scan,
                .last_start_scan = excursion.start_scan,
                .last_scan = excursion.end_scan - 1,
                .extreme_code = excursion.extreme_code,
                .scans_beyond = excursion.scans_beyond});
}

bool ExcursionReporter::tell(const ArmedLimit& limit, const TrackedExcursion& excursion) {
  steadyrail_proto_Event event;  // only the fields of its kind are read
  event.which_kind = steadyrail_proto_Event_excursion_tag;
  event.kind.excursion = {.channel = limit.channel,
                          .side = static_cast<steadyrail_proto_Side>(limit.side),
                          .armed_set = armed_->set,
                          .start_scan = excursion.start_scan,
                          .end_scan = excursion.end_scan,
                          .extreme_code = excursion.extreme_code,
                          .extreme_scan = excursion.extreme_scan,
                          .area_code_scans = excursion.area_code_scans,
                          .truncated = excursion.truncated};
  return telemetry_.offer(event);
}

void ExcursionReporter::count(std::size_t index, const CountedExcursions& counted) {
  Storm& storm = storms_[index];
  const bool low = armed_->limits[index].side == LimitSide::kLow;
  if (storm.excursions == 0) {
    storm.first_scan = counted.first_scan;
    storm.extreme_code = counted.extreme_code;
  }
  storm.excursions += counted.excursions;
  storm.last_scan = counted.last_scan;
  storm.extreme_code =
      low ? std::min(storm.extreme_code, counted.extreme_code) : std::max(storm.extreme_code, counted.extreme_code);
  storm.scans_beyond += counted.scans_beyond;
}

void ExcursionReporter::tell_storms() {
  storms_told_scan_ = now_;
  for (std::size_t k = 0; k < armed_->limit_count; ++k) {
    Storm& storm = storms_[k];
    if (storm.excursions == 0) continue;
    steadyrail_proto_Event event;  // only the fields of its kind are read
    event.which_kind = steadyrail_proto_Event_storm_tag;
    event.kind.storm = {.channel = armed_->limits[k].channel,
                        .side = static_cast<steadyrail_proto_Side>(armed_->limits[k].side),
                        .excursions = storm.excursions,
                        .first_scan = storm.first_scan,
                        .last_scan = storm.last_scan,
                        .extreme_code = storm.extreme_code,
                        .scans_beyond = storm.scans_beyond};
    // Without room for it the count goes on and is told next time.
    if (telemetry_.offer_sum(event)) storm = Storm{};
  }
}

}  // namespace firmware
