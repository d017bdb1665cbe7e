// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/clock_tree.h"

namespace firmware::chip {
namespace {

// RCC_CR
constexpr std::uint32_t kHseOn = 1U << 16;
constexpr std::uint32_t kHseReady = 1U << 17;
constexpr std::uint32_t kSecurityOn = 1U << 19;  // a crystal that stops raises the NMI
constexpr std::uint32_t kPllOn = 1U << 24;
constexpr std::uint32_t kPllReady = 1U << 25;
// RCC_PLLCFGR: M 8, N 336, P 2 (bits 00), source the crystal, Q 7 (48 MHz, unused)
constexpr std::uint32_t kPll = 8U | 336U << 6 | 0U << 16 | 1U << 22 | 7U << 24;
// RCC_CFGR
constexpr std::uint32_t kSwitchMask = 3U;
constexpr std::uint32_t kSwitchToPll = 2U;
constexpr std::uint32_t kSwitchedMask = 3U << 2;
constexpr std::uint32_t kSwitchedToPll = 2U << 2;
constexpr std::uint32_t kApb1By4 = 5U << 10;
constexpr std::uint32_t kApb2By2 = 4U << 13;
// PWR_CR
constexpr std::uint32_t kVoltageScale1 = 1U << 14;
// FLASH_ACR: 5 wait states at 168 MHz and 2.7..3.6 V, prefetch and both caches
constexpr std::uint32_t kFlashLatency = 5U | 1U << 8 | 1U << 9 | 1U << 10;
// RCC_CSR
constexpr std::uint32_t kClearCauses = 1U << 24;
constexpr std::uint32_t kPinReset = 1U << 26;
constexpr std::uint32_t kPowerReset = 1U << 27;
constexpr std::uint32_t kSoftwareReset = 1U << 28;
constexpr std::uint32_t kIndependentWatchdogReset = 1U << 29;
constexpr std::uint32_t kWindowWatchdogReset = 1U << 30;

// Crystals take a few milliseconds, the PLL 0.2; a try takes some 10 cycles of the 16 MHz there are then.
constexpr std::uint32_t kCrystalTries = 160'000;
constexpr std::uint32_t kLockTries = 16'000;

}  // namespace

ClockStart start_clocks(Rcc& rcc, Pwr& pwr, FlashInterface& flash) {
  set_bits(rcc.APB1ENR, 1U << 28);  // PWR
  set_bits(pwr.CR, kVoltageScale1);
  set_bits(rcc.CR, kHseOn);
  if (!wait_for(rcc.CR, kHseReady, kHseReady, kCrystalTries)) {
    clear_bits(rcc.CR, kHseOn);
    return ClockStart::kNoCrystal;
  }
  rcc.PLLCFGR = kPll;
  set_bits(rcc.CR, kPllOn);
  if (!wait_for(rcc.CR, kPllReady, kPllReady, kLockTries)) {
    clear_bits(rcc.CR, kPllOn);
    return ClockStart::kNoLock;
  }
  flash.ACR = kFlashLatency;  // before the clock rises
  set_field(rcc.CFGR, 7U << 10 | 7U << 13, kApb1By4 | kApb2By2);
  set_field(rcc.CFGR, kSwitchMask, kSwitchToPll);
  if (!wait_for(rcc.CFGR, kSwitchedMask, kSwitchedToPll, kLockTries)) {
    set_field(rcc.CFGR, kSwitchMask, 0);
    return ClockStart::kNoSwitch;
  }
  set_bits(rcc.CR, kSecurityOn);
  return ClockStart::kRunning;
}

void enable_blocks(Rcc& rcc) {
  set_bits(rcc.AHB1ENR, 1U << 0 | 1U << 1 | 1U << 2 | 1U << 3 | 1U << 21 | 1U << 22);  // GPIO A to D, DMA 1 and 2
  set_bits(rcc.APB1ENR, 1U << 0 | 1U << 1 | 1U << 2 | 1U << 3 | 1U << 14 | 1U << 15);  // TIM2 to 5, SPI2 and 3
  set_bits(rcc.APB2ENR, 1U << 0 | 1U << 1 | 1U << 4 | 1U << 8 | 1U << 12 | 1U << 14 | 1U << 16);
  // TIM1, TIM8, USART1, ADC1, SPI1, SYSCFG, TIM9
}

std::uint32_t take_reset_cause(Rcc& rcc) {
  const std::uint32_t flags = rcc.CSR;
  set_bits(rcc.CSR, kClearCauses);
  // Power-on raises the pin's flag as well, and so does every other cause: the most telling one first.
  if ((flags & (kIndependentWatchdogReset | kWindowWatchdogReset)) != 0) return 3;
  if ((flags & kSoftwareReset) != 0) return 4;
  if ((flags & kPowerReset) != 0) return 1;
  return (flags & kPinReset) != 0 ? 2 : 0;
}

}  // namespace firmware::chip
