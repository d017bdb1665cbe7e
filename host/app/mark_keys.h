// SPDX-License-Identifier: Apache-2.0
// Lines on standard input while a session runs: each marks a lock-up, its text being the user's words.
#pragma once

#include <thread>

#include "host/app/live_session.h"
#include "host/link/host_clock.h"

namespace host::app {

class MarkKeys {
 public:
  /// Reads descriptor `input` until it ends or this is destroyed. `live` and `clock` must outlive this.
  MarkKeys(int input, LiveSession& live, link::HostClock& clock);

 private:
  std::jthread thread_;
};

/// A lock-up noticed at `now`: it began at most two seconds before the hand told (from memory, common practice).
steadyrail::proto::Mark key_mark(model::HostTime now, const std::string& line);

}  // namespace host::app
