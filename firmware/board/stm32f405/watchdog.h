// SPDX-License-Identifier: Apache-2.0
// The independent watchdog: runs from its own oscillator and cannot be stopped. Fed once a block, it resets the chip
// after about 100 ms without one; the gates do not wait for it, their supply goes in 10 ms (load_gates.h).
#pragma once

#include "firmware/board/stm32f405/registers.h"
#include "firmware/hal/outputs.h"

namespace firmware::chip {

class IndependentWatchdog : public Watchdog {
 public:
  explicit IndependentWatchdog(Iwdg& registers) : iwdg_(registers) {}

  /// From here on it must be fed.
  void begin() {
    iwdg_.KR = kStart;
    iwdg_.KR = kUnlock;
    iwdg_.PR = kDivideBy4;
    iwdg_.RLR = kReload;
    feed();
  }
  void feed() override { iwdg_.KR = kFeed; }

  /// Long enough for an erase, during which nothing can be fed; then again as short as before.
  void allow_erase(bool allowed) {
    wait_for(iwdg_.SR, kUpdating, 0, kUpdateTries);  // a register is not written anew before it has been taken over
    iwdg_.KR = kUnlock;
    iwdg_.PR = allowed ? kDivideBy32 : kDivideBy4;
    iwdg_.RLR = allowed ? kEraseReload : kReload;
    wait_for(iwdg_.SR, kUpdating, 0, kUpdateTries);
    feed();
  }

 private:
  // Keys and divider of RM0090's IWDG registers. The oscillator is 32 kHz, 17 to 47 over parts (data sheet, from
  // memory): 800 counts of a quarter of it are 100 ms, 68 to 188.
  static constexpr std::uint32_t kStart = 0xCCCC;
  static constexpr std::uint32_t kUnlock = 0x5555;
  static constexpr std::uint32_t kFeed = 0xAAAA;
  static constexpr std::uint32_t kDivideBy4 = 0;
  static constexpr std::uint32_t kReload = 800;
  static constexpr std::uint32_t kDivideBy32 = 3;
  static constexpr std::uint32_t kEraseReload = 2000;     // 2 s, 1.4 to 3.8
  static constexpr std::uint32_t kUpdating = 3;           // SR: divider, reload
  static constexpr std::uint32_t kUpdateTries = 100'000;  // five counts of the slow oscillator, 0.3 ms

  Iwdg& iwdg_;
};

}  // namespace firmware::chip
