// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/native/terminal_line.h"

#include <fcntl.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <cstring>

#include "firmware/board/native/waiting.h"

namespace firmware {

TerminalLine::~TerminalLine() {
  if (slave_ >= 0) close(slave_);
  if (master_ >= 0) close(master_);
}

bool TerminalLine::open() {
  master_ = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  const char* name = nullptr;
  if (master_ >= 0 && grantpt(master_) == 0 && unlockpt(master_) == 0) name = ptsname(master_);
  if (name != nullptr) {
    path_ = name;
    slave_ = ::open(name, O_RDWR | O_NOCTTY | O_CLOEXEC);
  }
  termios settings{};
  if (slave_ < 0 || tcgetattr(slave_, &settings) != 0) {
    error_ = std::string("no pseudo-terminal: ") + std::strerror(errno);
    return false;
  }
  cfmakeraw(&settings);
  if (tcsetattr(slave_, TCSANOW, &settings) != 0) {
    error_ = std::string("the pseudo-terminal cannot be set: ") + std::strerror(errno);
    return false;
  }
  return true;
}

std::size_t TerminalLine::room() const {
  if (state_ != State::kOpen) return 0;
  if (policy_ == LinePolicy::kDrop) {
    pollfd wanted{.fd = master_, .events = POLLOUT, .revents = 0};
    if (poll(&wanted, 1, 0) <= 0) return 0;
  }
  return budget_.room();
}

std::size_t TerminalLine::try_write(std::span<const std::byte> bytes) {
  const std::size_t allowed = std::min(bytes.size(), room());
  std::size_t written = 0;
  while (written < allowed && state_ == State::kOpen) {
    const ssize_t count = write(master_, bytes.data() + written, allowed - written);
    if (count > 0) {
      written += static_cast<std::size_t>(count);
    } else if (count < 0 && errno == EAGAIN) {
      if (policy_ == LinePolicy::kDrop) break;
      const Waited waited = wait_for(master_, POLLOUT, kPatienceMs);
      if (waited == Waited::kStopped) state_ = State::kStopped;
      if (waited == Waited::kTimeout) state_ = State::kDead;
    } else if (count == 0 || errno != EINTR) {
      state_ = State::kDead;
    }
  }
  budget_.spend(written);
  return written;
}

std::size_t TerminalLine::take(std::span<std::byte> into) {
  const ssize_t count = read(master_, into.data(), into.size());
  return count > 0 ? static_cast<std::size_t>(count) : 0;
}

void TerminalLine::linger(int timeout_ms) const {
  // The kernel moves bytes to the reader's side in a task of its own, on a busy machine tens of milliseconds after the
  // write: only a side that stays empty has been read.
  constexpr int kStepMs = 2;
  constexpr int kLooks = 100;
  int empty_looks = 0;
  for (int waited_ms = 0; waited_ms < timeout_ms && empty_looks < kLooks; waited_ms += kStepMs) {
    int unread = 0;
    if (ioctl(slave_, FIONREAD, &unread) != 0) return;
    empty_looks = unread == 0 ? empty_looks + 1 : 0;
    if (wait_for({}, kStepMs) == Waited::kStopped) return;
  }
}

}  // namespace firmware
