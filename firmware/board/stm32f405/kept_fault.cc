// SPDX-License-Identifier: Apache-2.0
// The one record in memory that start-up leaves alone.
#include "firmware/board/stm32f405/fault_record.h"
#include "firmware/board/stm32f405/registers.h"

namespace firmware::chip {
namespace {

[[gnu::section(".kept")]] KeptFault kept;

constexpr std::uintptr_t kRamBegin = 0x10000000;  // core-coupled memory, then SRAM
constexpr std::uintptr_t kRamEnd = 0x20030000;

}  // namespace

void note_fault(const std::uint32_t* frame) {
  FaultRecord record;
  const auto at = reinterpret_cast<std::uintptr_t>(frame);
  // A stack pointer that has left the memory would fault again, for good.
  if (at >= kRamBegin && at < kRamEnd && at % 4 == 0) {
    record = {.r0_to_r3 = {frame[0], frame[1], frame[2], frame[3]},
              .r12 = frame[4],
              .link = frame[5],
              .program = frame[6],
              .status = frame[7]};
  }
  record.cause = scb().CFSR;
  record.hard_cause = scb().HFSR;
  record.memory_address = scb().MMFAR;
  record.bus_address = scb().BFAR;
  seal(kept, record);
}

std::optional<FaultRecord> take_fault() {
  return take(kept);
}

}  // namespace firmware::chip
