// SPDX-License-Identifier: Apache-2.0
// Contacts that open and close: a step in what is left of the voltage between two connectors when their own loads'
// drops are taken away, with no step of those loads within 5 ms.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <vector>

#include "host/detect/connector_pair.h"
#include "host/detect/found.h"
#include "host/detect/history.h"
#include "host/detect/load_line.h"

namespace host::detect {

class ContactWatch {
 public:
  /// `listed` is told of each event that enters the book.
  ContactWatch(const model::Jig& jig, EventBook& book, const History& history,
               std::function<void(const Found&)> listed);

  void add(const Block& block);
  void gap();

 private:
  static constexpr std::size_t kSide = 5;  // windows of 1 ms before and after that must be flat
  static constexpr std::size_t kEdge = 2;  // windows the edge and its transient may take
  static constexpr std::size_t kSpan = 2 * kSide + kEdge;
  static constexpr std::size_t kLoadsMost = 8;

  struct Sample {                          // one window
    double rest = 0;                       // V, up to a constant
    std::array<float, kLoadsMost> amps{};  // by load
    bool still = false;
    std::uint64_t start = 0;
    std::uint32_t scans = 0;
  };
  struct Watch {
    ConnectorPair pair;
    std::vector<std::size_t> loads;  // current channels that must stand still, A's first
    LoadLine line;
    std::array<Sample, kSpan> last{};
    std::size_t held = 0;
    std::uint64_t deaf_until = 0;  // scan up to which a step has been told
  };
  using Row = std::array<float, wire::kWindowsPerBlock>;

  void watch(const Block& block, Watch& watch);
  void rest_of(const Block& block, const Watch& watch, Row& rest) const;
  /// Means of the watched currents, and whether each stood still, of every window.
  void read_loads(const Block& block);
  /// Looks wherever both sides of an edge stand still among the first `size` of `all_`.
  void look_where_still(std::size_t size, Watch& watch);
  void learn(const Block& block, Watch& watch) const;
  void look(const Sample* samples, Watch& watch);
  /// Whether the returns that A's plug shares with others moved with the step: a load without a current channel did it.
  bool returns_moved(const Sample* samples, const Watch& watch, double step) const;
  double mean(const Block& block, std::size_t channel, std::uint32_t window) const;

  const model::Jig& jig_;
  EventBook& book_;
  const History& history_;
  std::function<void(const Found&)> listed_;
  std::vector<Watch> watches_;
  std::vector<std::size_t> currents_;  // loads of all watches
  std::array<Row, wire::kChannelCount> amps_{};
  std::array<std::uint32_t, wire::kChannelCount> still_{};
  std::array<Sample, kSpan + wire::kWindowsPerBlock> all_{};  // what was kept of the past, then the block
};

}  // namespace host::detect
