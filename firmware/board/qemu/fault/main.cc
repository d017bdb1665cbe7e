// SPDX-License-Identifier: Apache-2.0
// An image that runs into a fault on purpose, resets, and says what the boot before left behind. For the test of what
// the chip's image does by the same objects when the unforeseen happens.
#include <array>
#include <cstddef>
#include <cstdint>

#include "firmware/board/qemu/semihosting.h"
#include "firmware/board/stm32f405/fault_record.h"
#include "firmware/board/stm32f405/registers.h"
#include "firmware/board/stm32f405/startup.h"

namespace firmware::chip {
namespace {

constexpr std::uint32_t kNowhere = 0x60000000;  // no memory there, on the emulated machine and on the chip as wired
constexpr std::uint32_t kResetRequest = 0x05FA0004;  // AIRCR: key and SYSRESETREQ

void print_hex(const char* name, std::uint32_t value) {
  std::array<char, 9> digits{};
  for (std::size_t k = 0; k < 8; ++k) digits[k] = "0123456789abcdef"[value >> (28 - 4 * k) & 0xF];
  qemu::print(name);
  qemu::print(digits.data());
  qemu::print("\n");
}

}  // namespace

void board_halt() {
  scb().AIRCR = kResetRequest;
  for (;;) {
  }
}

extern "C" [[gnu::noinline]] std::uint32_t read_nowhere() {
  return *reinterpret_cast<volatile std::uint32_t*>(kNowhere);
}

void board_main() {
  const auto fault = take_fault();
  if (!fault) {
    qemu::print("first boot: no fault kept\n");
    read_nowhere();
    qemu::print("no fault happened\n");
    qemu::exit_emulator(false);
  }
  print_hex("instruction ", fault->program);
  print_hex("in function ", bus_address(reinterpret_cast<const volatile void*>(&read_nowhere)) & ~1U);
  print_hex("cause ", fault->cause);
  print_hex("address ", fault->bus_address);
  qemu::print(take_fault() ? "kept twice\n" : "told once\n");
  qemu::exit_emulator(true);
}

}  // namespace firmware::chip
