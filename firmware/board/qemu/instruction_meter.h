// SPDX-License-Identifier: Apache-2.0
// Counts instructions under `-icount shift=0`: an instruction takes one nanosecond of the machine's time, and SysTick
// counts that time at 168 MHz. A count is good to one tick, 6 instructions. Not a count of cycles: flash wait states,
// loads and branches of the real chip are not in it.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "firmware/board/qemu/replay.h"

namespace firmware::qemu {

class InstructionMeter : public ReplayMeter {
 public:
  InstructionMeter();
  void begin() override;
  void done(Work work) override;
  void end_block() override;

  /// Prints what was counted, one figure a line.
  void print() const;

 private:
  struct Counted {
    std::uint64_t ticks = 0;
    std::uint32_t longest_ticks = 0;  // in one go
  };

  std::uint32_t before_ = 0;
  std::uint32_t block_ticks_ = 0;
  std::uint32_t blocks_ = 0;
  std::uint32_t dearest_block_ticks_ = 0;
  std::array<Counted, kWorkKinds> works_{};
};

}  // namespace firmware::qemu
