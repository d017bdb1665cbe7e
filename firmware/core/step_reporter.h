// SPDX-License-Identifier: Apache-2.0
// Load steps of all trigger channels, and the settled means of every channel before and after each. Steps of several
// channels within 20 scans are one: they share a step_id.
//
//   ... |<- 32 scans ->|guard| step |<----- 4 ms ----->|<- 32 scans ->|
//         before                                          after
// When the next step comes sooner, `after` is the last 32 scans before its guard, if they begin 2 ms after this step.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "firmware/core/capture_ring.h"
#include "firmware/core/capture_store.h"
#include "firmware/core/rate_limit.h"
#include "firmware/core/scan_sums.h"
#include "firmware/core/settings.h"
#include "firmware/core/step_detector.h"
#include "firmware/core/step_sampler.h"
#include "firmware/core/telemetry.h"

namespace firmware {

inline constexpr std::uint32_t kSettledScans = 32;           // 1 ms
inline constexpr std::uint32_t kSettledAfterScans = 128;     // 4 ms
inline constexpr std::uint32_t kSettledFreeScansLeast = 64;  // 2 ms between a step and the next one's guard
inline constexpr std::uint32_t kStepsPerSecond = 800;        // told; more are counted as dropped events
inline constexpr std::uint32_t kSettledPerSecond = 100;      // told; a sample of more is as good

class StepReporter : public StepSink {
 public:
  /// `step_ids` were given out before; 0 is none.
  StepReporter(const CaptureRing& ring, CaptureStore& captures, Telemetry& telemetry, Health& health,
               std::uint32_t step_ids = 0)
      : ring_(ring), captures_(captures), telemetry_(telemetry), health_(health), step_ids_(step_ids) {}

  void begin(const Settings& settings, std::uint64_t first_scan);
  /// After the ring has taken the block.
  void on_block(const ScanBlock& block, const ScanSums& sums);
  /// The end of the run at `scan`.
  void end(std::uint64_t scan) { tell_sample(scan); }
  /// A gap: the next block begins at `next_scan`.
  void resume(std::uint64_t next_scan);

  void found(const FoundStep& step) override;

 private:
  static constexpr std::size_t kFoundMax = 2 * kStepTriggersMax;  // two peaks of one channel lie over 20 scans apart

  struct Group {
    std::uint32_t step_id = 0;  // 0: none open
    std::uint64_t first_scan = 0;
    std::uint64_t last_scan = 0;
    std::uint64_t free_from = 0;  // no other step's settling after this
  };

  void take(const FoundStep& step);
  void tell(const FoundStep& step);
  void capture(const FoundStep& step, std::uint32_t one_of);
  void tell_sample(std::uint64_t end_scan);
  void open_group(std::uint64_t scan);
  void finish_group(std::uint64_t after_scan);
  void means(std::uint64_t first_scan, steadyrail_proto_SettledMeans& message, bool after) const;

  const CaptureRing& ring_;
  CaptureStore& captures_;
  Telemetry& telemetry_;
  Health& health_;
  std::size_t trigger_count_ = 0;
  std::array<StepTrigger, kStepTriggersMax> triggers_{};
  std::array<StepDetector, kStepTriggersMax> detectors_{};
  std::array<std::uint32_t, wire::kChannelCount> biggest_16_{};
  std::array<FoundStep, kFoundMax> found_{};
  std::size_t found_count_ = 0;
  std::uint32_t step_ids_;  // since boot
  Group group_{};
  RateLimit step_limit_{kStepsPerSecond, kStepsPerSecond / 4};
  RateLimit settled_limit_{kSettledPerSecond, kSettledPerSecond / 10};
  StepSampler sampler_{};
  std::uint32_t kept_ = 0;  // of those drawn since sampled_from_
  std::uint64_t sampled_from_ = 0;
};

}  // namespace firmware
