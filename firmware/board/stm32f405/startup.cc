// SPDX-License-Identifier: Apache-2.0
// From reset to board_main(): vector table, sections, FPU. The table holds the system exceptions and the chip's 82
// interrupts (ARMv7-M Architecture Reference Manual B1.5; number of interrupts: RM0090, vector table of the STM32F405,
// from memory).
#include <algorithm>
#include <cstddef>
#include <cstdint>

#include "firmware/board/stm32f405/startup.h"

extern "C" {
// Placed by the linker script.
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

void enable_fpu() {
  *reinterpret_cast<volatile std::uint32_t*>(kCoprocessorAccess) |= kFullAccessToFpu;
  asm volatile("dsb\n isb" ::: "memory");
}

}  // namespace

extern "C" [[noreturn]] void chip_reset() {
  enable_fpu();
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

// Anything nobody handles is a fault of ours: stop where it can be seen.
extern "C" void chip_unexpected() {
  board_halt();
}

// A board that handles an exception defines the function; the others end in chip_unexpected.
#define STEADYRAIL_WEAK [[gnu::weak, gnu::alias("chip_unexpected")]]
extern "C" {
STEADYRAIL_WEAK void chip_hard_fault();
STEADYRAIL_WEAK void chip_sys_tick();
}
#undef STEADYRAIL_WEAK

using Handler = void (*)();
inline constexpr std::size_t kSystemExceptions = 15;
inline constexpr std::size_t kInterrupts = 82;

struct VectorTable {
  const void* stack;
  Handler system[kSystemExceptions];
  Handler interrupts[kInterrupts];
};

extern const VectorTable vector_table;
[[gnu::section(".vectors"), gnu::used]] constexpr VectorTable vector_table{
    .stack = &chip_stack_end,
    .system = {chip_reset, chip_unexpected, chip_hard_fault, chip_unexpected, chip_unexpected, chip_unexpected, nullptr,
               nullptr, nullptr, nullptr, chip_unexpected, chip_unexpected, nullptr, chip_unexpected, chip_sys_tick},
    .interrupts = {},
};

}  // namespace firmware::chip
