// SPDX-License-Identifier: Apache-2.0
// What a fault leaves behind: the registers the processor stacked and why, in memory that start-up does not touch, so
// that the next boot can tell the host.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

namespace firmware::chip {

struct FaultRecord {
  // As the processor stacks them (ARMv7-M Architecture Reference Manual B1.5.6).
  std::array<std::uint32_t, 4> r0_to_r3{};
  std::uint32_t r12 = 0;
  std::uint32_t link = 0;     // where the function at fault would have returned
  std::uint32_t program = 0;  // the instruction
  std::uint32_t status = 0;
  // System control block (B3.2).
  std::uint32_t cause = 0;       // CFSR
  std::uint32_t hard_cause = 0;  // HFSR
  std::uint32_t memory_address = 0;
  std::uint32_t bus_address = 0;
};

/// Kept over a reset; sealed with a sum, because memory after power-on holds anything.
struct KeptFault {
  FaultRecord record;
  std::uint32_t seal = 0;
};

void seal(KeptFault& kept, const FaultRecord& record);
/// The record, once; nothing when there is none or power was off.
std::optional<FaultRecord> take(KeptFault& kept);

/// Fills the kept record from the frame the processor stacked.
void note_fault(const std::uint32_t* frame);
/// The record of the boot before, once.
std::optional<FaultRecord> take_fault();

}  // namespace firmware::chip
