// SPDX-License-Identifier: Apache-2.0
// One 32-bit register. On the chip it is a word of the bus; on a host it is a stand-in whose reads and writes a test
// can answer, so that a driver meets hardware that takes its time, raises errors or stays silent.
#pragma once

#include <cstdint>

#if !defined(__arm__)
#include <functional>
#endif

namespace firmware::chip {

#if defined(__arm__)

using Reg = volatile std::uint32_t;

#else

class Reg {
 public:
  Reg() = default;
  Reg(const Reg&) = delete;
  Reg& operator=(const Reg&) = delete;
  ~Reg() = default;

  operator std::uint32_t() const { return on_read ? on_read(value) : value; }  // NOLINT(google-explicit-constructor)
  std::uint32_t operator=(std::uint32_t written) {  // NOLINT(misc-unconventional-assign-operator)
    value = on_write ? on_write(written) : written;
    return written;
  }

  std::uint32_t value = 0;
  std::function<std::uint32_t(std::uint32_t held)> on_read;      // what a read gives
  std::function<std::uint32_t(std::uint32_t written)> on_write;  // what the register holds after a write
};

#endif

inline void set_bits(Reg& reg, std::uint32_t bits) {
  reg = reg | bits;
}
inline void clear_bits(Reg& reg, std::uint32_t bits) {
  reg = reg & ~bits;
}
inline void set_field(Reg& reg, std::uint32_t mask, std::uint32_t value) {
  reg = (reg & ~mask) | value;
}

/// Reads until `mask` gives `wanted`, so many times at most; false in vain.
inline bool wait_for(const Reg& reg, std::uint32_t mask, std::uint32_t wanted, std::uint32_t tries) {
  for (; tries != 0; --tries) {
    if ((reg & mask) == wanted) return true;
  }
  return false;
}

/// As DMA and timers see it.
inline std::uint32_t bus_address(const volatile void* object) {
  return static_cast<std::uint32_t>(reinterpret_cast<std::uintptr_t>(object));
}

}  // namespace firmware::chip
