// SPDX-License-Identifier: Apache-2.0
// Losses of mains as the AC-present detector told them, and what the adapter still showed meanwhile.
#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <vector>

#include "host/detect/crossing_book.h"

namespace host::detect {

struct MainsLoss {
  double start = 0;  // scans; the loss itself came up to `late_s` before
  std::optional<double> end;
  double late_s = 0;
  double retained = 1;   // of the peak before: less than 0.1 is an interruption, more is a dip
  bool bounced = false;  // another break lay within 20 ms: a switch by hand, no clean loss
};

class MainsLosses {
 public:
  MainsLosses(const model::Jig& jig, const History& history);

  void edge(const steadyrail::proto::Edge& edge);
  /// Losses that have ended, and whose aftermath windows up to `reached` show. `all`: nothing follows.
  std::vector<MainsLoss> take(std::uint64_t reached, bool all);
  void gap();
  /// The loss that lasts at `scan`, or ended less than `grace` scans before.
  std::optional<MainsLoss> at(double scan, double grace = 0) const;
  bool timed() const { return adapter_ != nullptr && jig_.description().lines().mains_waveform(); }
  bool watched() const { return adapter_ != nullptr; }

 private:
  void measure(MainsLoss& loss) const;

  const model::Jig& jig_;
  const History& history_;
  const model::JigChannel* adapter_ = nullptr;
  std::deque<MainsLoss> recent_;  // in order of time; the last may be open
  std::deque<MainsLoss> waiting_;
};

}  // namespace host::detect
