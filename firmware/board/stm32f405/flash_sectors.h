// SPDX-License-Identifier: Apache-2.0
// Two small sectors of flash that hold records. An erase stops every instruction fetch for up to half a second (16 KiB;
// from memory), so it is done only while the jig is stopped.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "firmware/board/stm32f405/registers.h"

namespace firmware::chip {

inline constexpr std::size_t kSectorBytes = 16 * 1024;
inline constexpr std::size_t kSectorWords = kSectorBytes / 4;
inline constexpr std::uint32_t kErasedWord = 0xFFFFFFFF;

class FlashSectors {
 public:
  virtual ~FlashSectors() = default;
  virtual std::uint32_t word(std::size_t sector, std::size_t index) const = 0;
  /// Programs a word that is erased. False when it does not hold the value afterwards.
  [[nodiscard]] virtual bool program(std::size_t sector, std::size_t index, std::uint32_t value) = 0;
  /// False when a word is left that is not erased.
  [[nodiscard]] virtual bool erase(std::size_t sector) = 0;
};

/// Sectors 1 and 2 of the chip, at 0x08004000 and 0x08008000.
class ChipFlash : public FlashSectors {
 public:
  using Memory = std::array<volatile std::uint32_t*, 2>;

  ChipFlash(FlashInterface& registers, const Memory& memory) : flash_(registers), memory_(memory) {}

  std::uint32_t word(std::size_t sector, std::size_t index) const override { return memory_[sector][index]; }
  bool program(std::size_t sector, std::size_t index, std::uint32_t value) override;
  bool erase(std::size_t sector) override;

 private:
  bool unlock();
  bool finish();

  FlashInterface& flash_;
  Memory memory_;
};

}  // namespace firmware::chip
