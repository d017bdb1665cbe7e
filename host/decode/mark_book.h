// SPDX-License-Identifier: Apache-2.0
// Marks of a session, placed on its time-line: the host's by the clock fit of their stretch, the jig's button by its
// scan.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "host/decode/clock_fit.h"
#include "recording.pb.h"
#include "result.pb.h"

namespace host::decode {

class MarkBook {
 public:
  static constexpr std::size_t kMarksMost = 1000;

  /// A mark by the host's clock.
  void note(const steadyrail::proto::Mark& mark);
  /// The beats of the PC under test stopped; a later note of the same number replaces an earlier one. A silence is a
  /// lock-up unless the same run of the sender went on after it.
  void silence(const steadyrail::proto::HeartbeatSilence& silence);
  /// The marker button was pressed at a session scan.
  void button(std::uint64_t scan);
  /// The jig restarted: what was noted so far belongs to this clock.
  void stretch_ended(const ClockFit& clock);
  /// All marks in order of time, `clock` being that of the present stretch. A mark the clock cannot place (fewer than
  /// two time marks) is told with `placed` unset.
  std::vector<steadyrail::proto::SessionMark> placed(const ClockFit& clock, double scan_rate_hz) const;
  /// Marks beyond kMarksMost.
  std::uint64_t dropped() const { return dropped_; }

 private:
  struct Entry {
    steadyrail::proto::Mark mark;
    bool by_scan = false;
    std::uint32_t silence = 0;  // its number; 0: none
    std::optional<ScanInterval> scans;
  };
  void keep(Entry entry);

  std::vector<Entry> entries_;
  std::size_t open_ = 0;  // entries from here on belong to the present stretch
  std::uint64_t dropped_ = 0;
};

}  // namespace host::decode
