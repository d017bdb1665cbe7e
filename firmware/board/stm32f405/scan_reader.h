// SPDX-License-Identifier: Apache-2.0
// Three converters on one clock, as the core's source of scans. The readout interrupt, once a scan, looks back at the
// readout before and starts the next; the main loop takes whole blocks of 32 scans, up to 3 blocks late.
//
//   interrupt:  check, count, start      ...32 times...      block ready
//   main loop:                                               take_block(): unpack, check the frames
//
// Whatever goes wrong costs whole scans, never a wrong one: the block is given up, the buses begin again, and the core
// is told how many scans are missing.
#pragma once

#include <array>
#include <atomic>
#include <cstdint>

#include "firmware/board/stm32f405/converter_bus.h"
#include "firmware/board/stm32f405/sample_clock.h"
#include "firmware/hal/scan_source.h"

namespace firmware::chip {

/// Why scans were lost, counted; each stops at its end.
struct ReadoutFaults {
  std::array<std::uint32_t, kConverters> unfinished{};
  std::array<std::uint32_t, kConverters> out_of_step{};
  std::array<std::uint32_t, kConverters> overrun{};
  std::array<std::uint32_t, kConverters> wrong_frame{};
  std::uint32_t interrupt_late = 0;  // scans nobody read out
  std::uint32_t taken_late = 0;      // blocks overwritten before the main loop came
};

class ScanReader : public ScanSource {
 public:
  using Buses = std::array<ConverterBus*, kConverters>;

  /// `block`: where blocks are unpacked to, apart from this, for a board short of memory in one piece.
  ScanReader(SampleClock& clock, const Buses& buses, ScanBlock& block) : clock_(clock), buses_(buses), block_(block) {}

  /// Starts everything at scan 0. False when a bus cannot be started.
  bool begin();

  /// In the readout interrupt.
  void on_readout();

  /// Index of the scan under way. Any context.
  std::uint64_t scan_now() const;

  const ScanBlock* take_block() override;

  const ReadoutFaults& faults() const { return faults_; }
  /// Converters that have failed so often in a row that trying again is no use, by their bits.
  std::uint32_t lost_converters() const;

 private:
  static constexpr std::uint32_t kLostAfterFailures = 100;  // at most 0.4 s

  bool check_buses();
  void fail(std::size_t converter, std::uint32_t& counter);
  bool restart();
  bool unpack(std::size_t index);

  SampleClock& clock_;
  Buses buses_;

  // Written by the interrupt alone.
  std::uint64_t scan_ = 0;      // of the readout before
  bool begun_ = false;          // there was one since begin or restart
  std::uint32_t readouts_ = 0;  // since begin or restart
  std::array<std::uint64_t, kLandingBlocks> first_scan_{};
  std::atomic<std::uint32_t> ready_{0};  // blocks completed
  std::atomic<bool> broken_{false};      // the interrupt stopped reading; the main loop begins again

  std::uint32_t taken_ = 0;
  std::uint64_t next_scan_ = 0;                                     // expected by the core
  std::array<std::atomic<std::uint32_t>, kConverters> failures_{};  // in a row, of readouts and of blocks
  ReadoutFaults faults_;
  ScanBlock& block_;
};

}  // namespace firmware::chip
