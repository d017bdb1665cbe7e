// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/load_gates.h"

namespace firmware::chip {
namespace {

constexpr std::uint32_t kCounterEnable = 1U << 0;                 // CR1
constexpr std::uint32_t kExternalClockByTrigger1 = 7U | 1U << 4;  // SMCR: internal trigger 1 is TIM2 for both timers
constexpr std::uint32_t kBreakFlag = 1U << 7;                     // SR
constexpr std::uint32_t kOutputs = 1U | 1U << 4 | 1U << 8 | 1U << 12;  // CCER: four outputs, active high
// CCMR: mode of an output
constexpr std::uint32_t kOnAtMatch = 1;
constexpr std::uint32_t kOffAtMatch = 2;
constexpr std::uint32_t kOffNow = 4;
constexpr std::uint32_t kOnNow = 5;
constexpr std::uint32_t kModeMask = 7;
// BDTR: break input on, active low, so that a broken wire is a break; outputs are driven low while it lasts
constexpr std::uint32_t kOffStateDriven = 1U << 10;
constexpr std::uint32_t kBreakEnable = 1U << 12;
constexpr std::uint32_t kMainOutput = 1U << 15;

constexpr std::uint32_t kAheadMost = 32000;
constexpr std::uint32_t kAheadLeast = 2;  // the scan after next: writing takes longer than nothing

}  // namespace

void GateTimers::begin() {
  gates_ = 0;
  for (Timer* timer : timers_) {
    timer->CR1 = 0;
    timer->BDTR = kBreakEnable | kOffStateDriven;
    timer->CR2 = 0;  // idle states low
    timer->CCMR[0] = kOffNow << 4 | kOffNow << 12;
    timer->CCMR[1] = kOffNow << 4 | kOffNow << 12;
    timer->CCER = kOutputs;
    timer->PSC = 0;
    timer->ARR = 0xFFFF;
    timer->SMCR = kExternalClockByTrigger1;
    timer->CNT = 0;
    timer->SR = 0;
    timer->CR1 = kCounterEnable;
  }
}

void GateTimers::set(std::uint32_t gates, std::uint64_t from_scan) {
  const auto scan = static_cast<std::uint16_t>(from_scan);
  const auto ahead = static_cast<std::int16_t>(scan - static_cast<std::uint16_t>(timers_[0]->CNT));
  if (ahead > static_cast<std::int32_t>(kAheadMost)) gates = 0;
  const bool at_once = gates == 0 || ahead < static_cast<std::int32_t>(kAheadLeast);
  if (gates != 0) enable_outputs();
  for (std::uint32_t gate = 0; gate < kGateTimers * kGatesPerTimer; ++gate) {
    const bool on = (gates >> gate & 1) != 0;
    // All off is written whatever was believed before.
    if (gates == 0 || on != ((gates_ >> gate & 1) != 0)) set_gate(gate, on, at_once, scan);
  }
  gates_ = gates;
}

void GateTimers::set_gate(std::uint32_t gate, bool on, bool at_once, std::uint16_t scan) {
  Timer& timer = *timers_[gate / kGatesPerTimer];
  const std::uint32_t channel = gate % kGatesPerTimer;
  const std::uint32_t shift = channel % 2 * 8 + 4;
  timer.CCR[channel] = scan;
  const std::uint32_t mode = at_once ? (on ? kOnNow : kOffNow) : (on ? kOnAtMatch : kOffAtMatch);
  set_field(timer.CCMR[channel / 2], kModeMask << shift, mode << shift);
}

// After a break the outputs stay off until someone wants a gate on anew; the flag cannot be cleared while it lasts.
void GateTimers::enable_outputs() {
  for (Timer* timer : timers_) {
    if ((timer->BDTR & kMainOutput) != 0) continue;
    timer->SR = ~kBreakFlag;
    set_bits(timer->BDTR, kMainOutput);
  }
}

void GateTimers::keep_supplied() {
  if (gates_ == 0 || broken()) return;
  pump_high_ = !pump_high_;
  pump_port_.BSRR = pump_high_ ? 1U << pump_pin_ : 1U << (pump_pin_ + 16);
}

bool GateTimers::broken() const {
  for (const Timer* timer : timers_) {
    if ((timer->SR & kBreakFlag) != 0) return true;
  }
  return false;
}

}  // namespace firmware::chip
