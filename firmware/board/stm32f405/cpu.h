// SPDX-License-Identifier: Apache-2.0
// What the core of the chip does besides computing. On a host there are no interrupts to hold off.
#pragma once

#include <cstdint>

namespace firmware::chip {

/// Holds interrupts off while it lives.
class [[maybe_unused]] InterruptLock {
 public:
#if defined(__arm__)
  InterruptLock() { asm volatile("mrs %0, primask\n cpsid i" : "=r"(before_)::"memory"); }
  ~InterruptLock() { asm volatile("msr primask, %0" ::"r"(before_) : "memory"); }
#else
  InterruptLock() = default;
  ~InterruptLock() = default;
#endif
  InterruptLock(const InterruptLock&) = delete;
  InterruptLock& operator=(const InterruptLock&) = delete;

 private:
#if defined(__arm__)
  std::uint32_t before_ = 0;
#endif
};

}  // namespace firmware::chip
