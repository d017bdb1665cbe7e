// SPDX-License-Identifier: Apache-2.0
// Sags of a session, on what a rail's voltage keeps when the drop its load explains is taken away.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <vector>

#include "host/detect/found.h"
#include "host/detect/history.h"
#include "host/detect/load_line.h"
#include "host/detect/sag.h"

namespace host::detect {

class SagDesk {
 public:
  /// `ohm_of`: this unit's undershoot per ampere at a voltage channel, the median of its droops so far. `listed` is
  /// told of each event that enters the book.
  SagDesk(const model::Jig& jig, EventBook& book, const History& history, std::function<double(std::size_t)> ohm_of,
          std::function<void(const Found&)> listed);

  void add(const Block& block);
  void gap();
  /// The supply went off or the session ended.
  void finish();
  struct Count {
    std::size_t channel;
    std::uint64_t explained;
    std::uint64_t unexplained;
  };
  std::vector<Count> counts() const;

 private:
  /// How far the load moved, A: of the connector's own channel, and of all others of its rail together.
  struct Swing {
    double own = 0;
    double others = 0;
  };
  struct Watch {
    std::size_t channel;
    steadyrail::proto::Rail rail;
    std::vector<std::size_t> currents;  // channels of the rail, the line's order
    bool has_own = false;               // the first of them is the connector's own
    LoadLine line;
    SagTracker tracker;
    Swing swing;       // widest in or just before the open sag
    Swing last_swing;  // of the window before
    std::uint64_t explained = 0;
    std::uint64_t unexplained = 0;
  };
  using Row = std::array<float, wire::kWindowsPerBlock>;
  using Means = std::array<double, wire::kWindowsPerBlock>;
  struct Waiting {
    Found found;
    std::uint64_t due;
  };

  void watch(const Block& block, Watch& watch);
  void slow(const Block& block, Watch& watch, const Row& least);
  void learn(const Block& block, Watch& watch);
  Means corrected_means(const Block& block, const Watch& watch) const;
  Swing swing(const Block& block, const Watch& watch, std::uint32_t window) const;
  double explained_v(const Watch& watch) const;
  void ended(Watch& watch, const ScanSag& sag, std::uint32_t window_scans);
  void list(Found found);

  const model::Jig& jig_;
  EventBook& book_;
  const History& history_;
  std::function<double(std::size_t)> ohm_of_;
  std::function<void(const Found&)> listed_;
  std::vector<Watch> watches_;
  std::vector<Waiting> waiting_;
  std::uint32_t window_scans_ = 32;
};

}  // namespace host::detect
