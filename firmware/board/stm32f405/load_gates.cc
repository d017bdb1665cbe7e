// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/load_gates.h"

#include "firmware/board/stm32f405/cpu.h"

namespace firmware::chip {
namespace {

constexpr std::uint32_t kUpdateNow = 1U << 0;             // EGR: the prescaler counts from here
constexpr std::uint32_t kStartByTrigger1 = 6U | 1U << 4;  // SMCR: internal trigger 1 is TIM2 for both timers
constexpr std::uint32_t kTicks = 168'000'000 / 32'000 / kGateTicksPerScan;
static_assert(kTicks * kGateTicksPerScan * 32'000 == 168'000'000);
constexpr std::uint32_t kBreakFlag = 1U << 7;                          // SR
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

constexpr std::int32_t kReach256 = 256 + 102;  // end of what one interrupt loads, 1.4 scans after its scan began
constexpr std::int32_t kAheadLeastTicks = 2;   // nearer than this a match may be missed: done at once instead

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
    timer->PSC = kTicks - 1;
    timer->ARR = 0xFFFF;
    timer->EGR = kUpdateNow;
    timer->CNT = kGateTicksPerScan;  // the first update of the sample clock begins scan 1
    timer->SR = 0;
    timer->SMCR = kStartByTrigger1;
  }
}

bool GateTimers::queue_edge(const GateEdge& edge) {
  const std::uint32_t written = written_;
  if (written - taken_ >= kQueued) return false;
  if (edge.gates != 0) enable_outputs();
  queue_[written % kQueued] = {static_cast<std::uint16_t>(edge.scan), edge.offset_256,
                               static_cast<std::uint8_t>(edge.gates)};
  written_ = written + 1;
  return true;
}

void GateTimers::switch_off() {
  const InterruptLock lock;
  taken_ = written_.load();
  gates_ = 0;
  // Written whatever was believed before.
  for (std::uint32_t gate = 0; gate < kGateCount; ++gate) set_gate(gate, kOffNow);
}

void GateTimers::on_scan(std::uint16_t scan) {
  for (std::uint32_t k = 0; k < kQueued && taken_ != written_; ++k) {
    const Queued& edge = queue_[taken_ % kQueued];
    const auto scans = static_cast<std::int16_t>(edge.scan - scan);
    if (scans * 256 + edge.offset_256 >= kReach256) return;
    apply(edge);
    taken_ = taken_ + 1;
  }
}

void GateTimers::apply(const Queued& edge) {
  const auto tick =
      static_cast<std::uint16_t>(edge.scan * kGateTicksPerScan + edge.offset_256 * kGateTicksPerScan / 256);
  for (std::uint32_t gate = 0; gate < kGateCount; ++gate) {
    if (((gates_ ^ edge.gates) >> gate & 1) == 0) continue;
    const bool on = (edge.gates >> gate & 1) != 0;
    Timer& timer = *timers_[gate / kGatesPerTimer];
    timer.CCR[gate % kGatesPerTimer] = tick;
    set_gate(gate, on ? kOnAtMatch : kOffAtMatch);
    const auto ahead = static_cast<std::int16_t>(tick - static_cast<std::uint16_t>(timer.CNT));
    if (ahead < kAheadLeastTicks) set_gate(gate, on ? kOnNow : kOffNow);
  }
  gates_ = edge.gates;
}

void GateTimers::set_gate(std::uint32_t gate, std::uint32_t mode) {
  const std::uint32_t channel = gate % kGatesPerTimer;
  const std::uint32_t shift = channel % 2 * 8 + 4;
  set_field(timers_[gate / kGatesPerTimer]->CCMR[channel / 2], kModeMask << shift, mode << shift);
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
  if ((gates_ == 0 && taken_ == written_) || broken()) return;
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
