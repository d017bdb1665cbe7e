// SPDX-License-Identifier: Apache-2.0
// The heartbeat of the simulated PC: as in a watch, but on the session's own time-line and without a network, so that a
// seed repeats.
#pragma once

#include <cstdint>
#include <deque>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "host/app/live_session.h"
#include "host/heartbeat/beat_book.h"

namespace host::app {

class RehearsedHeartbeat {
 public:
  RehearsedHeartbeat(std::uint64_t started_utc_us, double scan_rate_hz);

  /// The supply's thread, each half second of simulated time: whether programs run on the PC just now.
  void pc(std::uint64_t scan, bool works);
  /// The session's thread, for SessionOptions::notes_due. Whatever stands before the time mark's scan has been told.
  std::vector<steadyrail::proto::HostNote> notes_due(std::optional<std::uint64_t> scan);

 private:
  struct Look {
    std::uint64_t scan = 0;
    bool works = false;
  };
  heartbeat::Moment at(std::uint64_t scan) const;
  void take(const Look& look);

  std::uint64_t started_utc_us_;
  double scan_rate_hz_;
  std::mutex mutex_;
  std::deque<Look> looks_;  // guarded by mutex_

  // Of the session's thread.
  heartbeat::BeatBook book_;
  std::uint64_t looked_to_ = 0;  // scan
  bool worked_ = false;
  std::uint64_t run_ = 0;
  std::uint64_t number_ = 0;
};

}  // namespace host::app
