// SPDX-License-Identifier: Apache-2.0
// Plain facts of one fall of PWR_OK: what went first, what followed, what the load was. No cause is named here.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "host/detect/crossing_book.h"
#include "host/detect/figures.h"
#include "host/detect/mains_losses.h"
#include "host/detect/start_up.h"
#include "unit.pb.h"

namespace host::detect {

struct Outage {
  Instant begin;      // PWR_OK no longer high
  std::string first;  // what went first: "mains", "PS_ON#", "+5VSB", "PWR_OK", "+12V", "+12V too high"
  std::string story;  // everything in order of time, in words
  bool rails_held = true;
  // Load just before over the label, the worst rail's: the greatest mean of a window, and a bound of single samples.
  std::optional<double> load_share, load_share_most;
  std::optional<Timed> warning;  // T6, where the mains or PS_ON# asked for the fall
};

class OutageReader {
 public:
  static constexpr double kBeforeS = 0.06;
  static constexpr double kAfterS = 0.15;

  OutageReader(const model::Jig& jig, const steadyrail::proto::LimitSet* limits, const steadyrail::proto::Unit* unit,
               const History& history, const CrossingBook& crossings, const MainsLosses& losses);

  /// `windows`: kBeforeS before `fell`, the window in which PWR_OK left 2.4 V, to kAfterS after it, or as many as
  /// there are.
  Outage read(const std::vector<History::Window>& windows, const History::Window& fell) const;

 private:
  struct Fact {
    Instant at;
    std::string name;  // for Outage::first
    std::string words;
  };
  using Windows = std::vector<History::Window>;
  Instant pwr_ok_fell(const Windows& windows, const History::Window& fell) const;
  void rails_fell(const Windows& windows, std::vector<Fact>& facts) const;
  void add_request(const Windows& windows, const Instant& fell, std::vector<Fact>& facts) const;
  /// Measured currents of a window, summed by rail.
  struct RailAmps {
    std::array<double, judge::kRailCount> mean{};
    std::array<double, judge::kRailCount> most{};
    std::array<bool, judge::kRailCount> measured{};
  };
  RailAmps rail_amps(const History::Window& window) const;
  std::string load_before(const Windows& windows, double scan) const;
  void load_shares(const Windows& windows, double scan, Outage& outage) const;
  void warning(const Windows& windows, const std::vector<Fact>& facts, Outage& outage) const;

  const model::Jig& jig_;
  const steadyrail::proto::Unit* unit_;
  const History& history_;
  const CrossingBook& crossings_;
  const MainsLosses& losses_;
  std::vector<RailWatch> rails_;
  std::vector<RailWatch> standby_;
};

}  // namespace host::detect
