// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/sample_clock.h"

namespace firmware::chip {
namespace {

constexpr std::uint32_t kCounterEnable = 1U << 0;      // CR1
constexpr std::uint32_t kUpdateToOthers = 2U << 4;     // CR2, MMS
constexpr std::uint32_t kCompare2Interrupt = 1U << 2;  // DIER and SR
constexpr std::uint32_t kPwmMode1Of1 = 6U << 4;        // CCMR1: high while the count is below CCR1
constexpr std::uint32_t kOutput1 = 1U << 0;            // CCER
// TIM4: clocked by its internal trigger 1, which is TIM2 (RM0090, table of internal triggers, from memory)
constexpr std::uint32_t kExternalClockByTrigger1 = 7U | 1U << 4;  // SMCR

}  // namespace

void SampleClock::begin() {
  stop();
  counter_.PSC = 0;
  counter_.ARR = 0xFFFF;
  counter_.SMCR = kExternalClockByTrigger1;
  counter_.CNT = 0;
  counter_.CR1 = kCounterEnable;
  clock_.PSC = 0;
  clock_.ARR = kTicksPerScan - 1;
  clock_.CCR[0] = kConvertPulseTicks;
  clock_.CCR[1] = kConversionTicks;
  clock_.CCMR[0] = kPwmMode1Of1;
  clock_.CCER = kOutput1;
  clock_.CR2 = kUpdateToOthers;
  // The first update comes at the end of the first scan: the count then is the index of the scan under way.
  clock_.CNT = 0;
  clock_.SR = 0;
  clock_.DIER = kCompare2Interrupt;
  clock_.CR1 = kCounterEnable;
}

void SampleClock::stop() {
  clock_.CR1 = 0;
  clock_.DIER = 0;
  counter_.CR1 = 0;
}

void SampleClock::acknowledge() {
  clock_.SR = ~kCompare2Interrupt;  // flags are cleared by writing 0
}

}  // namespace firmware::chip
