// SPDX-License-Identifier: Apache-2.0
#include "host/app/interrupt.h"

#include <pthread.h>
#include <unistd.h>

#include <csignal>
#include <cstring>
#include <ctime>

namespace host::app {
namespace {

constexpr int kExitBySignal = 128;
constexpr timespec kLook{0, 100'000'000};  // how often the waiter sees that it is no longer needed

sigset_t stop_signals() {
  sigset_t set;
  sigemptyset(&set);
  for (const int signal_number : {SIGINT, SIGTERM, SIGHUP}) sigaddset(&set, signal_number);
  return set;
}

}  // namespace

Interrupt::Interrupt() {
  // A reader of our words that goes away, or a limit on the size of files, is an error of one write, not the end of a
  // session.
  std::signal(SIGPIPE, SIG_IGN);
  std::signal(SIGXFSZ, SIG_IGN);
  const sigset_t set = stop_signals();
  pthread_sigmask(SIG_BLOCK, &set, nullptr);
  waiter_ = std::jthread([this, set](const std::stop_token& done) {
    while (!done.stop_requested()) {
      const int taken = sigtimedwait(&set, nullptr, &kLook);
      if (taken <= 0) continue;
      if (stop_.stop_requested()) _exit(kExitBySignal + taken);
      stop_.request_stop();
      constexpr char kWords[] = "\nending the session; press again to leave at once\n";
      [[maybe_unused]] const ssize_t written = write(STDERR_FILENO, kWords, std::strlen(kWords));
    }
  });
}

Interrupt::~Interrupt() {
  waiter_.request_stop();
  waiter_.join();
  const sigset_t set = stop_signals();
  pthread_sigmask(SIG_UNBLOCK, &set, nullptr);
}

}  // namespace host::app
