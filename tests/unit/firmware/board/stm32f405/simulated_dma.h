// SPDX-License-Identifier: Apache-2.0
// A DMA controller whose flags behave: writing a clear register clears them, disabling a stream stops it at once.
#pragma once

#include "firmware/board/stm32f405/dma_stream.h"

namespace firmware::chip::testing {

class SimulatedDma {
 public:
  SimulatedDma() {
    registers.LIFCR.on_write = [this](std::uint32_t cleared) {
      registers.LISR.value &= ~cleared;
      return 0U;
    };
    registers.HIFCR.on_write = [this](std::uint32_t cleared) {
      registers.HISR.value &= ~cleared;
      return 0U;
    };
  }

  /// Raises flags of DmaStream of one stream.
  void raise(std::uint32_t stream, std::uint32_t flags) {
    constexpr std::uint32_t kShifts[] = {0, 6, 16, 22};
    (stream < 4 ? registers.LISR : registers.HISR).value |= flags << kShifts[stream % 4];
  }

  Dma registers;
};

}  // namespace firmware::chip::testing
