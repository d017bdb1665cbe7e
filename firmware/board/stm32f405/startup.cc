// SPDX-License-Identifier: Apache-2.0
// From reset to board_main(): vector table, sections, FPU, painted stack; and what happens on a fault. System
// exceptions as in the ARMv7-M Architecture Reference Manual B1.5; interrupt numbers read in a copy of the vendor's
// header.
#include "firmware/board/stm32f405/startup.h"

#include <algorithm>
#include <array>
#include <cstddef>

#include "firmware/board/stm32f405/fault_record.h"

extern "C" {
// Placed by the linker script.
extern std::uint32_t chip_stack_begin;
extern std::uint32_t chip_stack_end;
extern std::uint32_t chip_data_load;
extern std::uint32_t chip_data_begin;
extern std::uint32_t chip_data_end;
extern std::uint32_t chip_zero_begin;
extern std::uint32_t chip_zero_end;
extern std::uint32_t chip_fast_begin;
extern std::uint32_t chip_fast_end;
using Constructor = void (*)();
extern Constructor chip_constructors_begin;
extern Constructor chip_constructors_end;
}

namespace firmware::chip {
namespace {

constexpr std::uint32_t kCoprocessorAccess = 0xE000ED88;  // CPACR, ARMv7-M B3.2.20
constexpr std::uint32_t kFullAccessToFpu = 0xFU << 20U;
constexpr std::uint32_t kStackPaint = 0x5AFE57AC;

void enable_fpu() {
  *reinterpret_cast<volatile std::uint32_t*>(kCoprocessorAccess) |= kFullAccessToFpu;
  asm volatile("dsb\n isb" ::: "memory");
}

// What lies below the stack pointer has not been used yet: it is painted, and looked at by stack_free_bytes().
void paint_stack() {
  std::uint32_t* top;
  asm volatile("mov %0, sp" : "=r"(top));
  constexpr std::ptrdiff_t kOwnWords = 16;
  std::fill(&chip_stack_begin, top - kOwnWords, kStackPaint);
}

}  // namespace

extern "C" [[noreturn]] void chip_reset() {
  enable_fpu();
  paint_stack();
  const std::size_t data_words = static_cast<std::size_t>(&chip_data_end - &chip_data_begin);
  std::copy_n(&chip_data_load, data_words, &chip_data_begin);
  std::fill(&chip_zero_begin, &chip_zero_end, 0U);
  std::fill(&chip_fast_begin, &chip_fast_end, 0U);
  std::for_each(&chip_constructors_begin, &chip_constructors_end, [](Constructor constructor) { constructor(); });
  board_main();
  for (;;) {
    asm volatile("wfi");
  }
}

std::uint32_t stack_free_bytes() {
  const std::uint32_t* word = &chip_stack_begin;
  while (word != &chip_stack_end && *word == kStackPaint) ++word;
  return static_cast<std::uint32_t>((word - &chip_stack_begin) * 4);
}

// Anything nobody handles is a fault of ours: stop where it can be seen.
extern "C" void chip_unexpected() {
  board_halt();
}

// A fault may come from a stack that is full: the frame is looked at where the processor put it, on a stack of its own,
// so that writing it down needs nothing of what broke.
extern "C" [[gnu::naked, noreturn]] void chip_hard_fault() {
  asm volatile(
      "mrs r0, msp\n"
      "ldr r1, =chip_fault_stack_end\n"
      "msr msp, r1\n"
      "b chip_note_fault\n"
      ".ltorg\n");
}

extern "C" [[gnu::used, noreturn]] void chip_note_fault(const std::uint32_t* frame) {
  note_fault(frame);
  board_halt();
}

// An interrupt that a board uses is a function of its own there; in an image without it, it ends in chip_unexpected.
#define STEADYRAIL_WEAK [[gnu::weak, gnu::alias("chip_unexpected")]]
extern "C" {
STEADYRAIL_WEAK void chip_nmi();
STEADYRAIL_WEAK void chip_sys_tick();
STEADYRAIL_WEAK void chip_tim1_break_tim9();
STEADYRAIL_WEAK void chip_tim2();
STEADYRAIL_WEAK void chip_tim3();
STEADYRAIL_WEAK void chip_tim5();
STEADYRAIL_WEAK void chip_usart1();
STEADYRAIL_WEAK void chip_dma2_stream7();
}
#undef STEADYRAIL_WEAK

using Handler = void (*)();
inline constexpr std::size_t kSystemExceptions = 15;
inline constexpr std::size_t kInterrupts = 82;

struct VectorTable {
  const void* stack;
  Handler system[kSystemExceptions];
  std::array<Handler, kInterrupts> interrupts;
};

constexpr std::array<Handler, kInterrupts> interrupt_handlers() {
  std::array<Handler, kInterrupts> handlers{};
  handlers.fill(chip_unexpected);
  handlers[24] = chip_tim1_break_tim9;
  handlers[28] = chip_tim2;
  handlers[29] = chip_tim3;
  handlers[37] = chip_usart1;
  handlers[50] = chip_tim5;
  handlers[70] = chip_dma2_stream7;
  return handlers;
}

extern const VectorTable vector_table;
[[gnu::section(".vectors"), gnu::used]] constexpr VectorTable vector_table{
    .stack = &chip_stack_end,
    .system = {chip_reset, chip_nmi, chip_hard_fault, chip_hard_fault, chip_hard_fault, chip_hard_fault, nullptr,
               nullptr, nullptr, nullptr, chip_unexpected, chip_unexpected, nullptr, chip_unexpected, chip_sys_tick},
    .interrupts = interrupt_handlers(),
};

}  // namespace firmware::chip
