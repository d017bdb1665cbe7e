// SPDX-License-Identifier: Apache-2.0
// Times of a session: starts, falls of PWR_OK, losses of mains, pulses of the logic lines. Windows say that something
// happened; stamps, edges and captures say when.
#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <vector>

#include "host/detect/crossing_book.h"
#include "host/detect/figures.h"
#include "host/detect/found.h"
#include "host/detect/mains_losses.h"
#include "host/detect/outage.h"
#include "host/detect/pwr_ok_levels.h"
#include "host/detect/start_up.h"

namespace host::detect {

class TimingDesk {
 public:
  TimingDesk(const model::Jig& jig, const steadyrail::proto::LimitSet* limits, const steadyrail::proto::Unit* unit,
             EventBook& book, const History& history, const std::deque<Capture>& captures);

  void crossing(const steadyrail::proto::Crossing& crossing) { crossings_.stamp(crossing); }
  void edge(const steadyrail::proto::Edge& edge);
  /// After the block went into the history.
  void add(const Block& block);
  void gap();
  void finish();

  WorstFigures figures() const;
  bool mains_timed() const { return losses_.timed(); }

 private:
  using Windows = std::vector<History::Window>;
  struct Fall {
    History::Window window;
    std::uint64_t due = 0;
    std::optional<Outage> outage;
    std::optional<double> back;
    bool cycled = false;  // PS_ON# went high before PWR_OK came back
  };
  /// PWR_OK stays high and PS_ON# low throughout: there is no window to look at.
  bool stays(const Block& block) const;
  void step(const Block& block, std::uint32_t window);
  void follow(bool& state, bool to, std::uint64_t scan);
  void fell(const History::Window& window);
  void rose(const History::Window& window);
  void read_falls(std::uint64_t reached, bool all);
  void read_start();
  /// PS_ON# has been low for as long as a start is looked at, and PWR_OK with it.
  void read_start_without_pwr_ok(std::uint64_t reached);
  void read_standby_start(const Block& block);
  void list_fall(const Fall& fall);
  void list_start(const StartUp& start);
  void list_loss(const MainsLoss& loss);
  void time_loss(const MainsLoss& loss, const Windows& windows, Found& found);
  void keep(const Timed& timed, Found& found);
  Windows windows_between(double from, double to) const;
  Found found_at(steadyrail::proto::EventKind kind, std::size_t channel, double scan, double u_scans,
                 steadyrail::proto::FigureSource source) const;

  const model::Jig& jig_;
  const steadyrail::proto::LimitSet* limits_;
  EventBook& book_;
  const History& history_;
  CrossingBook crossings_;
  MainsLosses losses_;
  StartUpReader starts_;
  OutageReader outages_;
  PwrOkLevels levels_;
  std::vector<RailWatch> standby_;
  WorstFigures figures_;
  const model::JigChannel* pwr_ok_;
  const model::JigChannel* ps_on_;
  const model::JigChannel* adapter_ = nullptr;
  bool begun_ = false;
  bool good_ = false;
  bool ever_good_ = false;
  bool asked_ = false;  // PS_ON# is low
  std::uint64_t asked_since_ = 0;
  std::uint64_t low_since_ = 0;  // PWR_OK
  bool waited_ = false;          // in vain for PWR_OK, and told
  std::deque<Fall> falls_;       // the last one may wait for PWR_OK
  std::optional<History::Window> rose_;
  std::uint64_t start_due_ = 0;
  bool dark_ = false;                 // the adapter shows nothing and standby is down
  std::optional<std::uint64_t> lit_;  // first window of mains after that
};

}  // namespace host::detect
