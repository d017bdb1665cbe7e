// SPDX-License-Identifier: Apache-2.0
// The port has gone: the same jig is looked for until it is back, the time is up or the user stops.
#include "host/link/session_run.h"

namespace host::link {

std::vector<std::string> Session::Run::names_to_try() const {
  if (options_.reconnect_names) return options_.reconnect_names();
  // Ports without a USB identity of their own (pseudo-terminals, network) have no other name to come back under.
  if (!first_port_.usb) return {options_.port};
  return candidates(first_port_, ports());
}

bool Session::Run::reconnect() {
  running_ = false;
  tape_.end_frame();
  note_port(steadyrail::proto::PORT_STATE_GONE);
  events_.port_gone(port_name_);
  close_port();
  gone_ = false;
  const auto deadline = Clock::now() + options_.times.reconnect_for;
  while (Clock::now() < deadline && !stopping()) {
    for (const std::string& name : names_to_try()) {
      if (stopping()) return false;
      if (!greet(name)) continue;
      if (begin_measuring()) {
        ++reconnections_;
        events_.port_back(name);
        return true;
      }
      tape_.end_frame();
      note_port(steadyrail::proto::PORT_STATE_GONE);
      close_port();
      gone_ = false;
    }
    wait([] { return false; }, std::min(deadline, Clock::now() + options_.times.reconnect_every));
  }
  return false;
}

}  // namespace host::link
