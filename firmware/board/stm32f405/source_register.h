// SPDX-License-Identifier: Apache-2.0
// The self-test's relays: a chain of five 8-bit shift registers, written bit by bit and taken over at once. Their
// outputs float, and every relay is open, until ENABLE is high: a resistor on the board holds it low at reset.
#pragma once

#include <cstdint>

#include "firmware/board/stm32f405/panel.h"

namespace firmware::chip {

class SourceRegister : public TestSource {
 public:
  SourceRegister(Pin data, Pin clock, Pin latch, Pin enable)
      : data_(data), clock_(clock), latch_(latch), enable_(enable) {}

  void set_up() const {
    for (const Pin pin : {data_, clock_, latch_, enable_}) {
      pin.set(false);
      use_pin(pin, PinUse::kOutput);
    }
  }

  // Outputs 31 to 0, then weak, then the level's three bits: the last bit sent stands at the first register's input.
  void join(const SourceJoin& to) override {
    if (to.outputs == 0) enable_.set(false);  // first of all
    const std::uint64_t word = std::uint64_t{to.outputs} << 4 | (to.weak ? 8U : 0U) | (to.level & 7U);
    for (std::uint32_t bit = kBits; bit-- > 0;) {
      data_.set((word >> bit & 1) != 0);
      clock_.set(true);  // the registers take 40 ns at most (class value, from memory); two bus writes are longer
      clock_.set(false);
    }
    latch_.set(true);
    latch_.set(false);
    if (to.outputs != 0) enable_.set(true);
  }

 private:
  static constexpr std::uint32_t kBits = 40;

  Pin data_;
  Pin clock_;
  Pin latch_;
  Pin enable_;
};

}  // namespace firmware::chip
