// SPDX-License-Identifier: Apache-2.0
// Ctrl-C and a polite kill, as a stop token: a session then ends in order instead of where it stands.
#pragma once

#include <stop_token>
#include <thread>

namespace host::app {

/// Takes SIGINT, SIGTERM and SIGHUP over while it lives. Build it before any thread, so that they all inherit the mask.
/// Failing writes stay errors: SIGPIPE and SIGXFSZ are ignored from then on. The first signal requests a stop; the
/// second ends the program at once, with what is recorded so far on disk.
class Interrupt {
 public:
  Interrupt();
  ~Interrupt();
  Interrupt(const Interrupt&) = delete;
  Interrupt& operator=(const Interrupt&) = delete;

  std::stop_token token() const { return stop_.get_token(); }
  bool requested() const { return stop_.stop_requested(); }

 private:
  std::stop_source stop_;
  std::jthread waiter_;
};

}  // namespace host::app
