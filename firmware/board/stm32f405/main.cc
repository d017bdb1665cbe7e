// SPDX-License-Identifier: Apache-2.0
// The jig on the chip: blocks as they come, the host's bytes, and talking in steps between them.
#include <new>

#include "firmware/app/jig.h"
#include "firmware/board/stm32f405/chip_board.h"
#include "firmware/board/stm32f405/fault_record.h"
#include "firmware/board/stm32f405/startup.h"

namespace firmware::chip {
namespace {

// Raw, because objects with a value of their own would need it copied here from flash.
[[gnu::section(".fast")]] alignas(8) std::byte fast_memory[sizeof(FastParts)];
[[gnu::section(".landing")]] DmaMemory dma_memory;
alignas(8) std::byte board_memory[sizeof(ChipBoard)];
alignas(8) std::byte jig_memory[sizeof(SplitJig)];

ChipBoard* board = nullptr;  // null: no interrupt is enabled yet

constexpr std::uint32_t kResetCauseFault = 5;        // of the schema's ResetCause
constexpr std::uint32_t kResetRequest = 0x05FA0004;  // AIRCR: key and SYSRESETREQ
constexpr std::size_t kBytesAtOnce = 64;

/// Handles what the host has sent; true when there was anything.
bool take_bytes(SplitJig& jig, SerialLine& line) {
  std::array<std::byte, kBytesAtOnce> bytes;
  const std::size_t count = line.take(bytes);
  for (const std::byte value : std::span(bytes).first(count)) jig.on_byte(value);
  return count != 0;
}

[[noreturn]] void serve(SplitJig& jig) {
  const Health& health = jig.health();
  for (;;) {
    bool busy = false;
    if (const ScanBlock* block = board->take_block()) {
      jig.on_block(*block);
      board->after_block(health.running, health.gates != 0, health.safety_cause != SafetyCause::kNone);
      busy = true;
    } else {
      jig.on_no_block();  // on every interrupt, at least once a scan: alarms do not wait for a block
    }
    busy = take_bytes(jig, board->line()) || busy;
    busy = jig.pump() || busy;
    if (!busy) asm volatile("wfi");
  }
}

}  // namespace

// Everything off, then from the start. The gate supply goes by itself; the break inputs need no help.
void board_halt() {
  tim1().BDTR = 0;
  tim8().BDTR = 0;
  gpio_b().BSRR = 1U << (9 + 16);  // PS_ON# released
  scb().AIRCR = kResetRequest;
  for (;;) {
  }
}

void board_main() {
  const std::uint32_t cause = take_reset_cause(rcc());
  const auto fault = take_fault();
  const ClockStart clock = start_clocks(rcc(), pwr(), flash_interface());
  enable_blocks(rcc());
  ChipBoard& here = *new (board_memory) ChipBoard(dma_memory, fault ? kResetCauseFault : cause);
  board = &here;
  // Without clock, line or converters the FAULT light stays on and nothing is driven; the line may still be there to
  // ask.
  const Started started = here.begin(clock);
  FastParts& fast = *new (fast_memory) FastParts;
  if (fault) fast.health.fault = {fault->program, fault->link, fault->cause, fault->bus_address};
  SplitJig& jig = *new (jig_memory) SplitJig({.transmitter = here.line(),
                                              .gates = here.gates(),
                                              .ps_on = here.ps_on(),
                                              .mode_link = here.link(),
                                              .watchdog = here.watchdog(),
                                              .store = here.store(),
                                              .watch = &here,
                                              .source = &here.source()},
                                             fast);
  if (started == Started::kNoClock || started == Started::kNoLine) return;
  serve(jig);
}

extern "C" {
void chip_tim2() {
  board->on_readout();
}
void chip_tim3() {
  board->on_capture();
}
void chip_tim5() {
  board->on_capture();
}
void chip_tim1_break_tim9() {
  board->on_capture();
}
void chip_usart1() {
  board->line().on_line();
}
void chip_dma2_stream7() {
  board->line().on_sent();
}
}

}  // namespace firmware::chip
