// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/native/waiting.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <csignal>
#include <cstddef>

namespace firmware {
namespace {

// A pipe, because a signal that arrives between a test and poll() would else be slept through.
std::array<int, 2> stop_pipe{-1, -1};

void on_stop(int) {
  const char byte = 1;
  [[maybe_unused]] const ssize_t written = write(stop_pipe[1], &byte, 1);
}

}  // namespace

bool catch_stop_signals() {
  if (pipe2(stop_pipe.data(), O_CLOEXEC | O_NONBLOCK) != 0) return false;
  struct sigaction action{};
  action.sa_handler = on_stop;
  for (const int signal_number : {SIGTERM, SIGINT, SIGHUP}) {
    if (sigaction(signal_number, &action, nullptr) != 0) return false;
  }
  return std::signal(SIGPIPE, SIG_IGN) != SIG_ERR;
}

Waited wait_for(std::span<pollfd> wanted, int timeout_ms) {
  std::array<pollfd, 4> fds{};
  std::copy(wanted.begin(), wanted.end(), fds.begin());
  fds[wanted.size()] = {.fd = stop_pipe[0], .events = POLLIN, .revents = 0};
  for (;;) {
    const int ready = poll(fds.data(), wanted.size() + 1, timeout_ms);
    if (ready < 0 && errno == EINTR) continue;  // the pipe tells of it
    if (fds[wanted.size()].revents != 0) return Waited::kStopped;
    std::copy_n(fds.begin(), wanted.size(), wanted.begin());
    return ready > 0 ? Waited::kReady : Waited::kTimeout;
  }
}

Waited wait_for(int fd, short events, int timeout_ms) {
  pollfd wanted{.fd = fd, .events = events, .revents = 0};
  return wait_for({&wanted, 1}, timeout_ms);
}

}  // namespace firmware
