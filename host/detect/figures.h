// SPDX-License-Identifier: Apache-2.0
// The worst of every figure timed, both ways, as the verdicts need it.
#pragma once

#include <cmath>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <utility>

#include "host/detect/crossing_book.h"
#include "result.pb.h"

namespace host::detect {

/// One figure: s, V, or V/ms, by its quantity.
struct Timed {
  steadyrail::proto::Quantity quantity = steadyrail::proto::QUANTITY_UNKNOWN;
  std::size_t channel = 0;
  double value = 0;
  double u = 0;     // standard uncertainty
  double late = 0;  // the true value may be greater by up to this, and never less
  std::uint64_t at = 0;
};

class WorstFigures {
 public:
  /// Of one quantity, over all channels.
  struct Worst {
    std::optional<Timed> least;
    std::optional<Timed> most;
    std::uint32_t count = 0;
  };
  using Key = std::pair<steadyrail::proto::Quantity, steadyrail::proto::Rail>;

  /// `rail`: figures of each rail are kept apart; RAIL_UNKNOWN: of the whole supply.
  void add(steadyrail::proto::Rail rail, const Timed& timed) {
    Worst& worst = kept_[{timed.quantity, rail}];
    ++worst.count;
    if (!worst.least || timed.value < worst.least->value) worst.least = timed;
    if (!worst.most || timed.value > worst.most->value) worst.most = timed;
  }
  const std::map<Key, Worst>& all() const { return kept_; }

 private:
  std::map<Key, Worst> kept_;
};

/// From one moment to another, in seconds.
inline Timed interval(steadyrail::proto::Quantity quantity, std::size_t channel, const Instant& from, const Instant& to,
                      double scan_rate_hz) {
  Timed timed;
  timed.quantity = quantity;
  timed.channel = channel;
  timed.value = (to.scan - from.scan) / scan_rate_hz;
  timed.u = std::hypot(from.u_scans, to.u_scans) / scan_rate_hz;
  timed.at = from.scan > 0 ? static_cast<std::uint64_t>(from.scan) : 0;
  return timed;
}

}  // namespace host::detect
