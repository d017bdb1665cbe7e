// SPDX-License-Identifier: Apache-2.0
// The board: every driver on its pins, and what they notice. Pins are those of hardware-notes; the 64-pin part has them
// all.
#pragma once

#include <cstdint>

#include "firmware/board/stm32f405/chip_store.h"
#include "firmware/board/stm32f405/clock_tree.h"
#include "firmware/board/stm32f405/edge_capture.h"
#include "firmware/board/stm32f405/housekeeping.h"
#include "firmware/board/stm32f405/load_gates.h"
#include "firmware/board/stm32f405/panel.h"
#include "firmware/board/stm32f405/scan_reader.h"
#include "firmware/board/stm32f405/serial_line.h"
#include "firmware/board/stm32f405/source_register.h"
#include "firmware/board/stm32f405/watchdog.h"
#include "firmware/hal/board_watch.h"

namespace firmware::chip {

/// What DMA reads and writes, and where blocks are unpacked to: in SRAM2.
struct DmaMemory {
  std::array<Landing, kConverters> landing;
  SerialBuffers serial;
  HousekeepingCodes housekeeping;
  ScanBlock block;
};

enum class Started : std::uint8_t { kRunning, kNoClock, kNoConverters, kNoLine };

class ChipBoard : public BoardWatch, private StandStill {
 public:
  ChipBoard(DmaMemory& memory, std::uint32_t reset_cause);

  /// Pins, records, line, then clock and converters. The lights say FAULT for all but kRunning.
  Started begin(ClockStart clock);
  bool acquiring() const { return acquiring_; }

  /// The next block, edges in it; null when none is ready.
  const ScanBlock* take_block();
  /// Once a block, after the core has seen it.
  void after_block(bool linked, bool loaded, bool faulty);

  Alarm alarm() override;
  BoardReadings readings() const override;

  // Interrupts.
  void on_readout() {
    reader_.on_readout();
    gates_.on_scan(clock_.scans());
  }
  void on_capture();

  SerialLine& line() { return line_; }
  GateTimers& gates() { return gates_; }
  PsOnOutput& ps_on() { return ps_on_; }
  KeyedLink& link() { return link_; }
  IndependentWatchdog& watchdog() { return watchdog_; }
  ChipStore& store() { return store_; }
  SourceRegister& source() { return source_; }

 private:
  void set_up_pins();
  Started start_all();
  void stand_still(bool begins) override;
  void take_marker(std::uint64_t scan);

  DmaStream receive_[kConverters];
  DmaStream transmit_[kConverters];
  DmaStream line_receive_;
  DmaStream line_transmit_;
  DmaStream housekeeping_stream_;
  ConverterBus main_;
  ConverterBus processor_;
  ConverterBus graphics_;
  SampleClock clock_;
  ScanBlock& block_;
  ScanReader reader_;
  SerialLine line_;
  GateTimers gates_;
  PsOnOutput ps_on_;
  KeyedLink link_;
  IndependentWatchdog watchdog_;
  ChipFlash flash_;
  RecordStore records_;
  ChipStore store_;
  Housekeeping housekeeping_;
  ComparatorCapture pwr_ok_lower_;
  ComparatorCapture pwr_ok_upper_;
  ComparatorCapture ps_on_lower_;
  ComparatorCapture ps_on_upper_;
  LineWatch pwr_ok_watch_;
  LineWatch ps_on_watch_;
  EdgeQueue edges_;
  MarkerButton button_;
  Lights lights_;
  SourceRegister source_;
  bool acquiring_ = false;
  std::uint64_t blocks_end_ = 0;  // scan after the latest block
  std::uint32_t taken_late_ = 0;  // as the latest alarm() saw it
};

}  // namespace firmware::chip
