// SPDX-License-Identifier: Apache-2.0
// The few symbols the language asks for on a chip without an operating system. No heap: there is no malloc to link, and
// operator delete exists only because virtual destructors name it.
#include <cstddef>

#include "firmware/board/stm32f405/startup.h"

extern "C" void __cxa_pure_virtual() {
  firmware::chip::board_halt();
}

// Nothing here ever exits: destructors of static objects need no list.
extern "C" int atexit(void (* /*destructor*/)()) {
  return 0;
}

void operator delete(void* /*object*/) noexcept {
  firmware::chip::board_halt();
}
void operator delete(void* /*object*/, std::size_t /*bytes*/) noexcept {
  firmware::chip::board_halt();
}
