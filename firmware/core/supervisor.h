// SPDX-License-Identifier: Apache-2.0
// Watches the host, the keyed link, the board's own alarms, the load bank and the converters' range. What it finds in
// bench switches everything off and latches the cause; beside a PC the jig drives nothing, so silence only ends
// telemetry, and the rest is told.
#pragma once

#include <cstdint>

#include "firmware/core/acquisition.h"
#include "firmware/core/load_sequencer.h"
#include "firmware/core/outputs.h"
#include "firmware/core/over_range.h"
#include "firmware/core/stuck_switch.h"
#include "firmware/core/telemetry.h"

namespace firmware {

inline constexpr std::uint32_t kTelemetrySilenceMs = 10000;
inline constexpr std::uint32_t kStackFreeLeastBytes = 256;  // less was free at the deepest so far: the next may be none

class Supervisor {
 public:
  /// `watch` may be null: a board without alarms of its own.
  Supervisor(ModeLink& link, BoardWatch* watch, Health& health, Outputs& outputs, LoadSequencer& sequencer,
             Acquisition& acquisition, Telemetry& telemetry);

  void configure(const Settings& settings) {
    host_silence_ms_ = settings.host_silence_ms;
    over_range_.configure(settings.low_end_mask);
  }

  /// A sound command arrived.
  void heard() { heard_scan_ = health_.next_scan; }

  /// The operator arms again: a latched cause is let go.
  void acknowledge_cause();

  /// Ends a run: sequence, gates, what was collected. PS_ON# stays as commanded.
  void stop_run();

  void on_block(const ScanBlock& block);

  /// Link and alarms alone, for a board whose scans have stopped coming.
  void look();

 private:
  static constexpr std::uint32_t kReadingsEveryBlocks = 250;

  void trip(SafetyCause cause, std::optional<std::uint8_t> detail = std::nullopt);
  /// Unless a cause stands already.
  void trip_first(SafetyCause cause, std::optional<std::uint8_t> detail = std::nullopt);
  void watch_host();
  void watch_loads(const ScanBlock& block);

  ModeLink& link_;
  BoardWatch* watch_;
  std::uint32_t blocks_to_readings_ = 0;
  Health& health_;
  Outputs& outputs_;
  LoadSequencer& sequencer_;
  Acquisition& acquisition_;
  Telemetry& telemetry_;
  StuckSwitchWatch stuck_;
  OverRangeWatch over_range_;
  std::uint32_t host_silence_ms_ = 1000;
  std::uint64_t heard_scan_ = 0;
};

}  // namespace firmware
