// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/flash_sectors.h"

namespace firmware::chip {
namespace {

// FLASH_SR
constexpr std::uint32_t kBusy = 1U << 16;
constexpr std::uint32_t kErrors = 0xF2;  // operation, write protection, alignment, parallelism, sequence
// FLASH_CR
constexpr std::uint32_t kProgram = 1U << 0;
constexpr std::uint32_t kSectorErase = 1U << 1;
constexpr std::uint32_t kSectorShift = 3;
constexpr std::uint32_t kWordsAtOnce = 2U << 8;  // 32 bits, at 2.7 to 3.6 V
constexpr std::uint32_t kStart = 1U << 16;
constexpr std::uint32_t kLock = 1U << 31;
// FLASH_KEYR
constexpr std::uint32_t kKey1 = 0x45670123;
constexpr std::uint32_t kKey2 = 0xCDEF89AB;

constexpr std::uint32_t kFirstSector = 1;
// A read of a busy flash's status waits some cycles; an erase takes up to half a second at 168 MHz.
constexpr std::uint32_t kTries = 50'000'000;

}  // namespace

bool ChipFlash::unlock() {
  if (!wait_for(flash_.SR, kBusy, 0, kTries)) return false;
  if ((flash_.CR & kLock) != 0) {
    flash_.KEYR = kKey1;
    flash_.KEYR = kKey2;
  }
  flash_.SR = kErrors;  // written with 1 to clear what an earlier attempt left
  return (flash_.CR & kLock) == 0;
}

// Waits for the end and locks again; false when anything complained.
bool ChipFlash::finish() {
  const bool idle = wait_for(flash_.SR, kBusy, 0, kTries);
  const bool sound = idle && (flash_.SR & kErrors) == 0;
  if (idle) flash_.CR = kLock;
  return sound;
}

bool ChipFlash::program(std::size_t sector, std::size_t index, std::uint32_t value) {
  if (!unlock()) return false;
  flash_.CR = kProgram | kWordsAtOnce;
  memory_[sector][index] = value;
  return finish() && memory_[sector][index] == value;
}

bool ChipFlash::erase(std::size_t sector) {
  if (!unlock()) return false;
  flash_.CR = kSectorErase | (kFirstSector + static_cast<std::uint32_t>(sector)) << kSectorShift | kWordsAtOnce;
  set_bits(flash_.CR, kStart);
  if (!finish()) return false;
  for (std::size_t k = 0; k < kSectorWords; ++k) {
    if (memory_[sector][k] != kErasedWord) return false;
  }
  return true;
}

}  // namespace firmware::chip
