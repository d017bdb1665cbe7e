// SPDX-License-Identifier: Apache-2.0
// Eight load gates on the compare outputs of TIM1 (gates 0 to 3) and TIM8 (4 to 7). Both timers count scans, clocked by
// the sample clock, so an edge loaded ahead happens in hardware at the very scan it is stamped with.
//
// DANGER: a gate that stays on heats loads of hundreds of watts; see hardware-notes/safety.md. What switches gates off:
//   - reset: pins float, pull-downs hold the gates; no code is needed
//   - thermal cut-out, fan failure, keyed link: break inputs of both timers, without clock or code
//   - a halted program: the gate supply is a charge pump on a line that must toggle once a millisecond; stuck either
//   way
//     it is gone in 10 ms
#pragma once

#include <array>
#include <cstdint>

#include "firmware/board/stm32f405/registers.h"
#include "firmware/hal/outputs.h"

namespace firmware::chip {

inline constexpr std::uint32_t kGatesPerTimer = 4;
inline constexpr std::uint32_t kGateTimers = 2;

class GateTimers : public LoadGates {
 public:
  using Timers = std::array<Timer*, kGateTimers>;

  /// `pump_port`, `pump_pin`: the line of the charge pump.
  GateTimers(const Timers& timers, Gpio& pump_port, std::uint32_t pump_pin)
      : timers_(timers), pump_port_(pump_port), pump_pin_(pump_pin) {}

  /// Everything off, break inputs armed. Together with the sample clock's begin, so that both count the same scans.
  void begin();

  /// An edge at `from_scan`, or at once where that scan has begun; all off is always at once. A scan more than a second
  /// ahead is refused by switching off.
  void set(std::uint32_t gates, std::uint64_t from_scan) override;

  /// Blocks land up to four before they are taken.
  std::uint32_t lead_scans() const override { return kLeadScans; }

  /// Once a block: keeps the gate supply up while a gate is wanted.
  void keep_supplied();

  /// A break input is active, or has been since the outputs were last enabled: the gates are off whatever was set.
  bool broken() const;

 private:
  static constexpr std::uint32_t kLeadScans = 5 * 32;

  void enable_outputs();
  void set_gate(std::uint32_t gate, bool on, bool at_once, std::uint16_t scan);

  Timers timers_;
  Gpio& pump_port_;
  std::uint32_t pump_pin_;
  std::uint32_t gates_ = 0;
  bool pump_high_ = false;
};

}  // namespace firmware::chip
