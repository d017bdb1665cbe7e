// SPDX-License-Identifier: Apache-2.0
// What a board notices by itself: alarms that end in the safe state, and readings for the status frames.
#pragma once

#include <cstdint>

namespace firmware {

enum class Alarm : std::uint8_t {  // values of the schema's SafetyCause
  kNone = 0,
  kOverTemperature = 4,
  kFanOrThermal = 5,
  kConverterLost = 7,
  kOverrun = 8,
};

struct BoardReadings {
  std::int32_t temperature_mk = 0;  // millikelvin above 0 degC, the warmest place
  std::uint32_t supply_mv = 0;
  std::uint32_t stack_free_bytes = 0;  // never used so far
};

class BoardWatch {
 public:
  virtual ~BoardWatch() = default;
  /// The most urgent alarm that stands. Once a block; never waits.
  virtual Alarm alarm() = 0;
  /// A few times a second.
  virtual BoardReadings readings() const = 0;
};

}  // namespace firmware
