// SPDX-License-Identifier: Apache-2.0
// One start of the supply, from PS_ON# to PWR_OK: T1 to T4, the shape of each rail, the order of the rails.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "host/detect/crossing_book.h"
#include "host/detect/figures.h"
#include "limits.pb.h"

namespace host::detect {

/// Which channels take part and what level is "in regulation".
struct RailWatch {
  std::size_t channel = 0;
  steadyrail::proto::Rail rail = steadyrail::proto::RAIL_UNKNOWN;
  double nominal_v = 0;
  double least_v = 0;  // of the edition, or 95 % of nominal without one
  double most_v = 0;   // of the edition, or 110 % of nominal
};
/// kMain: +12, +5 and +3.3 V, at every connector.
enum class Rails : std::uint8_t { kMain, kStandby };
std::vector<RailWatch> watched_rails(const model::Jig& jig, const steadyrail::proto::LimitSet* limits, Rails which);

struct StartUp {
  std::optional<Instant> ps_on_low;  // below 0.8 V
  std::optional<Instant> pwr_ok;     // reaches 2.4 V
  Instant begin;                     // ps_on_low, or the first rail at 10 %
  std::vector<Timed> figures;
  std::vector<std::string> oddities;  // each worth an event of its own
  std::string order;                  // of the rails, in words
};

class StartUpReader {
 public:
  StartUpReader(const model::Jig& jig, const steadyrail::proto::LimitSet* limits, const History& history,
                const CrossingBook& crossings);

  /// `windows`: without a hole, from before PS_ON# fell to after PWR_OK rose. Nothing when no rail rose from below 10 %
  /// of nominal in them.
  std::optional<StartUp> read(std::vector<History::Window> windows) const;
  const std::vector<RailWatch>& rails() const { return rails_; }

 private:
  struct Ramp {
    RailWatch watch;
    std::optional<Instant> tenth, arrived, from, to;
  };
  using Windows = std::vector<History::Window>;
  void times(const std::vector<Ramp>& ramps, const Windows& windows, StartUp& start) const;
  /// PWR_OK low to the end of `windows`; `last`: the last rail to arrive, where all did.
  void still_low(const Ramp* last, const model::JigChannel& line, const Windows& windows, StartUp& start) const;
  void shape(const Ramp& ramp, const Windows& windows, StartUp& start) const;
  void overshoot(const Ramp& ramp, const Windows& windows, StartUp& start) const;

  const model::Jig& jig_;
  const steadyrail::proto::LimitSet* limits_;
  const History& history_;
  const CrossingBook& crossings_;
  std::vector<RailWatch> rails_;
  double from_share_ = 0.10;
  double to_share_ = 0.95;
};

}  // namespace host::detect
