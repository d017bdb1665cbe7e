// SPDX-License-Identifier: Apache-2.0
// One stream of a DMA controller: where from, where to, how far it has come, what went wrong.
#pragma once

#include <cstddef>
#include <cstdint>

#include "firmware/board/stm32f405/registers.h"

namespace firmware::chip {

enum class DmaWidth : std::uint32_t { kByte = 0, kHalfWord = 1 };
enum class DmaDirection : std::uint32_t { kFromPeripheral = 0, kToPeripheral = 1 };

struct DmaSetup {
  std::uint32_t channel = 0;
  DmaDirection direction = DmaDirection::kFromPeripheral;
  DmaWidth width = DmaWidth::kByte;
  bool circular = false;
  std::uint32_t priority = 0;  // 0..3
  bool interrupt_when_done = false;
};

class DmaStream {
 public:
  static constexpr std::uint32_t kFifoError = 1U << 0;
  static constexpr std::uint32_t kDirectModeError = 1U << 2;
  static constexpr std::uint32_t kTransferError = 1U << 3;
  static constexpr std::uint32_t kHalfDone = 1U << 4;
  static constexpr std::uint32_t kDone = 1U << 5;

  DmaStream(Dma& controller, std::uint32_t number) : dma_(controller), number_(number) {}

  /// Stops it and sets it up for `peripheral`'s data register. False when it does not stop.
  bool set_up(const DmaSetup& setup, const Reg& peripheral);
  /// Moves `count` items from or to `memory`. Stopped or done before.
  void start(const volatile void* memory, std::uint32_t count);
  /// False when it does not stop within a bounded wait.
  bool stop();

  bool running() const { return (registers().CR & kEnable) != 0; }
  std::uint32_t left() const { return registers().NDTR; }
  std::uint32_t flags() const;
  void clear(std::uint32_t flags);

 private:
  static constexpr std::uint32_t kEnable = 1U << 0;

  DmaStreamRegisters& registers() const { return dma_.stream[number_]; }
  std::uint32_t shift() const;

  Dma& dma_;
  std::uint32_t number_;
  std::uint32_t control_ = 0;
};

}  // namespace firmware::chip
