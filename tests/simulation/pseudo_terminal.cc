// SPDX-License-Identifier: Apache-2.0
#include "tests/simulation/pseudo_terminal.h"

#include <stdexcept>

#include <fcntl.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

namespace testing_jig {

PseudoTerminal::PseudoTerminal() : master_(::posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC)) {
  if (master_ < 0 || ::grantpt(master_) != 0 || ::unlockpt(master_) != 0) {
    throw std::runtime_error("no pseudo-terminal to test with");
  }
  path_ = ::ptsname(master_);
  // Raw from the start: an echo before the host opens the port would come back as a command.
  termios settings{};
  ::tcgetattr(master_, &settings);
  ::cfmakeraw(&settings);
  ::tcsetattr(master_, TCSANOW, &settings);
}

PseudoTerminal::~PseudoTerminal() {
  unplug();
}

void PseudoTerminal::unplug() {
  if (master_ >= 0) ::close(master_);
  master_ = -1;
}

}  // namespace testing_jig
