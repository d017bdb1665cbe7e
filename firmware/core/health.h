// SPDX-License-Identifier: Apache-2.0
// What the jig knows about itself, as the status frames tell it. Each part writes the counters it owns.
#pragma once

#include <cstdint>
#include <optional>

#include "firmware/core/gate_marks.h"
#include "firmware/hal/board_watch.h"
#include "firmware/hal/outputs.h"

namespace firmware {

enum class SafetyCause : std::uint8_t {  // values of the schema's SafetyCause
  kNone = 0,
  kHostSilent = 1,
  kModeLinkMoved = 2,
  kLoadStuckOn = 3,
  kOverTemperature = 4,
  kFanOrThermal = 5,
  kOnTimeLimit = 6,
  kConverterLost = 7,
  kOverrun = 8,
  kOverRange = 9,
  kStack = 10,
  kEnergyLimit = 11,
};

/// What a processor fault left behind: told to every host that asks who is there.
struct FaultWords {
  std::uint32_t instruction = 0;  // address
  std::uint32_t return_to = 0;    // address
  std::uint32_t cause = 0;        // the processor's fault status
  std::uint32_t address = 0;      // of the access at fault, where the cause says that it is valid
};

struct Health {
  std::uint64_t next_scan = 0;  // scans since boot, lost ones included: device time
  Mode mode = Mode::kUnknown;
  SafetyCause safety_cause = SafetyCause::kNone;
  std::optional<std::uint8_t> safety_detail;  // gate or channel, where the cause has one
  std::uint32_t gates = 0;                    // as loaded: the latest edge may lie ahead
  GateMarks gate_marks{};
  bool ps_on_driven = false;
  std::uint32_t load_energy_j = 0;  // held by the load bank
  bool running = false;
  BoardReadings readings{};
  std::optional<FaultWords> fault;  // of the boot before
  std::uint32_t lines = 0;          // levels: bit (Line - 1)
  std::uint32_t clipped_mask = 0;   // since the last status
  // Counters since boot; they stop at their end instead of going back to small numbers.
  std::uint32_t scans_lost = 0;
  std::uint32_t blocks_merged = 0;
  std::uint32_t blocks_dropped = 0;
  std::uint32_t events_dropped = 0;
  std::uint32_t captures_dropped = 0;
  std::uint32_t captures_late = 0;
  std::uint32_t captures_cut = 0;
  std::uint32_t raw_dropped = 0;
  std::uint32_t logs_dropped = 0;
  std::uint32_t frames_damaged = 0;
};

/// Adds without wrapping.
constexpr void count_up(std::uint32_t& counter, std::uint32_t by = 1) {
  counter = counter > UINT32_MAX - by ? UINT32_MAX : counter + by;
}

}  // namespace firmware
