// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/dma_stream.h"

namespace firmware::chip {
namespace {

// DMA_SxCR
constexpr std::uint32_t kTransferErrorInterrupt = 1U << 2;
constexpr std::uint32_t kDoneInterrupt = 1U << 4;
constexpr std::uint32_t kCircular = 1U << 8;
constexpr std::uint32_t kMemoryIncrement = 1U << 10;
constexpr std::uint32_t kAllFlags = 0x3D;
constexpr std::uint32_t kStopTries = 1000;  // it ends the item under way, no more

}  // namespace

// Flags of streams 0..3 lie in the low register, of 4..7 in the high one, at the same four places.
std::uint32_t DmaStream::shift() const {
  constexpr std::uint32_t kShifts[] = {0, 6, 16, 22};
  return kShifts[number_ % 4];
}

bool DmaStream::set_up(const DmaSetup& setup, const Reg& peripheral) {
  if (!stop()) return false;
  control_ = setup.channel << 25 | setup.priority << 16 | static_cast<std::uint32_t>(setup.width) << 13 |
             static_cast<std::uint32_t>(setup.width) << 11 | kMemoryIncrement | (setup.circular ? kCircular : 0) |
             static_cast<std::uint32_t>(setup.direction) << 6 |
             (setup.interrupt_when_done ? kDoneInterrupt | kTransferErrorInterrupt : 0);
  registers().PAR = bus_address(&peripheral);
  registers().FCR = 0;  // direct mode
  registers().CR = control_;
  return true;
}

void DmaStream::start(const volatile void* memory, std::uint32_t count) {
  clear(kAllFlags);  // a flag left standing keeps it from starting
  registers().M0AR = bus_address(memory);
  registers().NDTR = count;
  registers().CR = control_ | kEnable;
}

bool DmaStream::stop() {
  clear_bits(registers().CR, kEnable);
  const bool stopped = wait_for(registers().CR, kEnable, 0, kStopTries);
  clear(kAllFlags);
  return stopped;
}

std::uint32_t DmaStream::flags() const {
  return (number_ < 4 ? dma_.LISR : dma_.HISR) >> shift() & kAllFlags;
}

void DmaStream::clear(std::uint32_t flags) {
  Reg& clearing = number_ < 4 ? dma_.LIFCR : dma_.HIFCR;
  clearing = flags << shift();
}

}  // namespace firmware::chip
