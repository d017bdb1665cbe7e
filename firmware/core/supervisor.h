// SPDX-License-Identifier: Apache-2.0
// Watches the host, the keyed link and the board's own alarms. In bench a silent host, a moved link or an alarm
// switches everything off and latches the cause; beside a PC the jig drives nothing, so silence only ends telemetry.
#pragma once

#include <cstdint>

#include "firmware/core/acquisition.h"
#include "firmware/core/load_sequencer.h"
#include "firmware/core/outputs.h"
#include "firmware/core/telemetry.h"

namespace firmware {

inline constexpr std::uint32_t kTelemetrySilenceMs = 10000;

class Supervisor {
 public:
  /// `watch` may be null: a board without alarms of its own.
  Supervisor(ModeLink& link, BoardWatch* watch, Health& health, Outputs& outputs, LoadSequencer& sequencer,
             Acquisition& acquisition, Telemetry& telemetry);

  void set_host_silence_ms(std::uint32_t host_silence_ms) { host_silence_ms_ = host_silence_ms; }

  /// A sound command arrived.
  void heard() { heard_scan_ = health_.next_scan; }

  /// The operator arms again: a latched cause is let go.
  void acknowledge_cause() { health_.safety_cause = SafetyCause::kNone; }

  /// Ends a run: sequence, gates, what was collected. PS_ON# stays as commanded.
  void stop_run();

  void on_block();

  /// Link and alarms alone, for a board whose scans have stopped coming.
  void look();

 private:
  static constexpr std::uint32_t kReadingsEveryBlocks = 250;

  void trip(SafetyCause cause);

  ModeLink& link_;
  BoardWatch* watch_;
  std::uint32_t blocks_to_readings_ = 0;
  Health& health_;
  Outputs& outputs_;
  LoadSequencer& sequencer_;
  Acquisition& acquisition_;
  Telemetry& telemetry_;
  std::uint32_t host_silence_ms_ = 1000;
  std::uint64_t heard_scan_ = 0;
};

}  // namespace firmware
