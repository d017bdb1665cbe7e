// SPDX-License-Identifier: Apache-2.0
// The one sample clock. TIM2 counts 2,625 ticks of 84 MHz a scan: 32 kS/s exactly. Its channel 1 is CNV of all three
// converters; its channel 2 asks for the readout once the slowest conversion is over (the isolators carry no BUSY line,
// so the time is waited, not seen). Its update counts scans in TIM4, in hardware, so that a late interrupt is seen as
// such, and clocks the gates (load_gates.h) and the capture timers (edge_capture.h).
//
//   CNV    _|-|_______________________________|-|____
//            | conversion | readout 18.3 us  |
#pragma once

#include <cstdint>

#include "firmware/board/stm32f405/registers.h"

namespace firmware::chip {

inline constexpr std::uint32_t kTicksPerScan = 2625;  // 84 MHz / 32 kHz
inline constexpr std::uint32_t kTicksPerMicrosecond = 84;
inline constexpr std::uint32_t kConvertPulseTicks = 8;     // CNV high, 95 ns
inline constexpr std::uint32_t kConversionTicks = 5 * 84;  // 5 us for eight channels; class value, from memory
static_assert(kTicksPerScan - kConversionTicks > 1600, "192 bits at 10.5 MHz take 18.3 us: 1,536 ticks");

class SampleClock {
 public:
  SampleClock(Timer& clock, Timer& counter) : clock_(clock), counter_(counter) {}

  void begin();
  void stop();

  /// Scans begun since begin(), modulo 65,536.
  std::uint16_t scans() const { return static_cast<std::uint16_t>(counter_.CNT); }
  /// Ticks since the scan under way began.
  std::uint32_t ticks() const { return clock_.CNT; }
  /// In the readout interrupt: takes its flag.
  void acknowledge();

 private:
  Timer& clock_;
  Timer& counter_;
};

}  // namespace firmware::chip
