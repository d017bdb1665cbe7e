// SPDX-License-Identifier: Apache-2.0
// From the crystal to the buses. Every wait is bounded: without its clock the jig stays on the internal oscillator,
// says so with its FAULT light and acquires nothing, because scans would not be 31.25 us apart.
#pragma once

#include <cstdint>

#include "firmware/board/stm32f405/registers.h"

namespace firmware::chip {

// Crystal X1 of the board: 8 MHz. 8 MHz / 8 * 336 / 2 = 168 MHz.
inline constexpr std::uint32_t kCrystalHz = 8'000'000;
inline constexpr std::uint32_t kCoreHz = 168'000'000;
inline constexpr std::uint32_t kApb1Hz = kCoreHz / 4;       // SPI2, SPI3
inline constexpr std::uint32_t kApb2Hz = kCoreHz / 2;       // SPI1, USART1
inline constexpr std::uint32_t kApb1TimerHz = 2 * kApb1Hz;  // a bus that divides drives its timers twice as fast
inline constexpr std::uint32_t kApb2TimerHz = 2 * kApb2Hz;

enum class ClockStart : std::uint8_t { kRunning, kNoCrystal, kNoLock, kNoSwitch };

/// On failure the internal oscillator goes on driving everything.
ClockStart start_clocks(Rcc& rcc, Pwr& pwr, FlashInterface& flash);

/// Gives a clock to every block the board uses.
void enable_blocks(Rcc& rcc);

/// The schema's ResetCause from the flags the chip kept, and clears them.
std::uint32_t take_reset_cause(Rcc& rcc);

}  // namespace firmware::chip
