// SPDX-License-Identifier: Apache-2.0
// The kernel's own terminal structure has a name the C library's header also takes: hence a file to itself.
#include <asm/termbits.h>
#include <sys/ioctl.h>

#include "tests/unit/host/link/fake_serial_fixture.h"

namespace host::link {

unsigned line_speed_baud(int terminal) {
  termios2 settings{};
  return ::ioctl(terminal, TCGETS2, &settings) == 0 ? settings.c_ospeed : 0;
}

}  // namespace host::link
