// SPDX-License-Identifier: Apache-2.0
// Trackers of all armed limits, and what is told of them: one event each within the budget, beyond it one count a
// second and limit. Nothing is told twice and nothing goes uncounted.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "firmware/core/capture_store.h"
#include "firmware/core/excursion_tracker.h"
#include "firmware/core/rate_limit.h"
#include "firmware/core/scan_sums.h"
#include "firmware/core/settings.h"
#include "firmware/core/telemetry.h"

namespace firmware {

class ExcursionReporter : public ExcursionSink {
 public:
  ExcursionReporter(Telemetry& telemetry, CaptureStore& captures, Health& health)
      : telemetry_(telemetry), captures_(captures), health_(health) {}

  /// `armed` must outlive the run.
  void begin(const ArmedSet& armed, std::uint32_t events_per_s, std::uint64_t first_scan);
  void on_block(const ScanBlock& block, const ScanSums& sums);
  /// A gap before the next block: what is open is truncated at `scan`.
  void close(std::uint64_t scan);
  /// The end of the run at `scan`.
  void end(std::uint64_t scan);

  Attention attention(const ScanBlock& block) const override;
  void counted(std::size_t index, const CountedExcursions& counted, bool alike) override;
  void certain(std::size_t index, std::uint64_t start_scan) override;
  void ended(std::size_t index, const TrackedExcursion& excursion) override;

 private:
  struct Storm {
    std::uint32_t excursions = 0;
    std::uint64_t first_scan = 0;
    std::uint64_t last_scan = 0;
    std::int16_t extreme_code = 0;
    std::uint64_t scans_beyond = 0;
  };

  bool tell(const ArmedLimit& limit, const TrackedExcursion& excursion);
  void count(std::size_t index, const CountedExcursions& counted);
  void tell_storms();

  Telemetry& telemetry_;
  CaptureStore& captures_;
  Health& health_;
  const ArmedSet* armed_ = nullptr;
  std::uint64_t now_ = 0;  // scan after the block being taken
  std::uint64_t storms_told_scan_ = 0;
  RateLimit budget_{};
  std::array<ExcursionTracker, kArmedLimitsMax> trackers_{};
  std::array<Storm, kArmedLimitsMax> storms_{};
};

}  // namespace firmware
