// SPDX-License-Identifier: Apache-2.0
// The board's plain inputs and outputs: keyed mode link, PS_ON# output, fan and thermal cut-out, marker button, and
// three lights with words beside them: LINK, LOAD ON, FAULT.
#pragma once

#include <cstdint>
#include <optional>

#include "firmware/board/stm32f405/registers.h"
#include "firmware/hal/outputs.h"

namespace firmware::chip {

struct Pin {
  Gpio* port = nullptr;
  std::uint32_t number = 0;

  bool high() const { return (port->IDR >> number & 1) != 0; }
  void set(bool on) const { port->BSRR = on ? 1U << number : 1U << (number + 16); }
};

/// Two contacts of the key, each to ground when made. Exactly one made is a mode; both or none is a link that is
/// broken, loose or being turned, and counts as unknown: nothing may be driven then.
class KeyedLink : public ModeLink {
 public:
  KeyedLink(Pin observe, Pin bench) : observe_(observe), bench_(bench) {}
  Mode read() override {
    const bool observe = !observe_.high();
    const bool bench = !bench_.high();
    if (observe == bench) return Mode::kUnknown;
    return bench ? Mode::kBench : Mode::kObserve;
  }

 private:
  Pin observe_;
  Pin bench_;
};

/// High lights the opto-isolator's diode, whose transistor pulls PS_ON# low. Floating at reset: a pull-down keeps it
/// dark.
class PsOnOutput : public PsOnDriver {
 public:
  explicit PsOnOutput(Pin pin) : pin_(pin) {}
  void drive(bool on) override { pin_.set(on); }

 private:
  Pin pin_;
};

/// The marker button, to ground when pressed. Contacts bounce: a level counts once it has stood for 10 blocks.
class MarkerButton {
 public:
  explicit MarkerButton(Pin pin) : pin_(pin) {}
  /// Once a block. The level after an edge (high: pressed), or nothing.
  std::optional<bool> look() {
    const bool pressed = !pin_.high();
    standing_ = pressed == pressed_ ? 0 : standing_ + 1;
    if (standing_ < kStandingBlocks) return std::nullopt;
    pressed_ = pressed;
    standing_ = 0;
    return pressed_;
  }

 private:
  static constexpr std::uint32_t kStandingBlocks = 10;

  Pin pin_;
  bool pressed_ = false;
  std::uint32_t standing_ = 0;
};

struct Lights {
  Pin link;
  Pin load_on;
  Pin fault;

  void show(bool linked, bool loaded, bool faulty) const {
    link.set(linked);
    load_on.set(loaded);
    fault.set(faulty);
  }
};

/// What a pin does. Names of RM0090's GPIO_MODER values.
enum class PinUse : std::uint32_t { kInput = 0, kOutput = 1, kAlternate = 2, kAnalog = 3 };
enum class Pull : std::uint32_t { kNone = 0, kUp = 1, kDown = 2 };

inline void use_pin(Pin pin, PinUse use, Pull pull = Pull::kNone, std::uint32_t alternate = 0) {
  const std::uint32_t two = 2 * pin.number;
  const std::uint32_t four = pin.number % 8 * 4;
  set_field(pin.port->AFR[pin.number / 8], 0xFU << four, alternate << four);
  set_field(pin.port->PUPDR, 3U << two, static_cast<std::uint32_t>(pull) << two);
  set_field(pin.port->OSPEEDR, 3U << two, (use == PinUse::kAlternate ? 2U : 0U) << two);
  // Last: the pin floats, held by its resistor on the board, until all else is set.
  set_field(pin.port->MODER, 3U << two, static_cast<std::uint32_t>(use) << two);
}

}  // namespace firmware::chip
