// SPDX-License-Identifier: Apache-2.0
// Eight load gates on the compare outputs of TIM1 (gates 0 to 3) and TIM8 (4 to 7). Both timers run freely at 125 ticks
// a scan, started by the sample clock's first update, so a compare says to 0.25 us when an edge happens, without code.
// Each output holds one edge; the readout interrupt, once a scan, loads what falls due in the scan that begins 0.4
// scans later. Two edges of a gate are 1.27 scans apart at least (40 us), so the one before has happened by then:
//
//   scan n:   |5 us: interrupt   |12.5 us                            |scan n+1          |12.5 us
//              loads ----------> [ edges from here ................................... to here )
//
// DANGER: a gate that stays on heats loads of hundreds of watts; see hardware-notes/safety.md. What switches gates off:
//   - reset: pins float, pull-downs hold the gates; no code is needed
//   - thermal cut-out, fan failure, keyed link: break inputs of both timers, without clock or code
//   - a halted program: the gate supply is a charge pump on a line that must toggle once a millisecond; stuck either
//   way
//     it is gone in 10 ms
#pragma once

#include <array>
#include <atomic>
#include <cstdint>

#include "firmware/board/stm32f405/registers.h"
#include "firmware/hal/outputs.h"

namespace firmware::chip {

inline constexpr std::uint32_t kGatesPerTimer = 4;
inline constexpr std::uint32_t kGateTimers = 2;
inline constexpr std::uint32_t kGateTicksPerScan = 125;

class GateTimers : public LoadGates {
 public:
  using Timers = std::array<Timer*, kGateTimers>;

  /// `pump_port`, `pump_pin`: the line of the charge pump.
  GateTimers(const Timers& timers, Gpio& pump_port, std::uint32_t pump_pin)
      : timers_(timers), pump_port_(pump_port), pump_pin_(pump_pin) {}

  /// Everything off, break inputs armed. Before the sample clock begins, whose first update starts the timers.
  void begin();

  bool queue_edge(const GateEdge& edge) override;
  void switch_off() override;

  /// Blocks land up to four before they are taken.
  std::uint32_t lead_scans() const override { return kLeadScans; }

  /// In the readout interrupt of `scan`, modulo 65,536.
  void on_scan(std::uint16_t scan);

  /// Once a block: keeps the gate supply up while a gate is wanted.
  void keep_supplied();

  /// A break input is active, or has been since the outputs were last enabled: the gates are off whatever was set.
  bool broken() const;

 private:
  static constexpr std::uint32_t kLeadScans = 5 * 32;
  // All that may lie within the lead and the block after it.
  static constexpr std::uint32_t kQueued = 192;
  static_assert(kQueued >= (kLeadScans / 32 + 2) * kEdgeTimesPerMillisecond);

  struct Queued {
    std::uint16_t scan = 0;
    std::uint8_t offset_256 = 0;
    std::uint8_t gates = 0;
  };

  void enable_outputs();
  void apply(const Queued& edge);
  void set_gate(std::uint32_t gate, std::uint32_t mode);

  Timers timers_;
  Gpio& pump_port_;
  std::uint32_t pump_pin_;
  std::uint32_t gates_ = 0;  // as loaded into the outputs
  bool pump_high_ = false;
  std::array<Queued, kQueued> queue_{};
  std::atomic<std::uint32_t> written_{0};  // by the main loop alone
  std::atomic<std::uint32_t> taken_{0};    // by the interrupt; by the main loop while it holds interrupts off
};

}  // namespace firmware::chip
