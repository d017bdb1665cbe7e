// SPDX-License-Identifier: Apache-2.0
// When a signal passed a level: windows say in which of them, the chip's stamps and captures say where in it.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <vector>

#include "host/detect/capture_store.h"
#include "host/detect/history.h"
#include "link.pb.h"

namespace host::detect {

/// A moment at the connector: the delay of the channel's chain is taken away.
struct Instant {
  double scan = 0;
  double u_scans = 0;  // standard uncertainty
  steadyrail::proto::FigureSource source = steadyrail::proto::FIGURE_SOURCE_UNKNOWN;
};

class CrossingBook {
 public:
  static constexpr std::size_t kKept = 256;  // stamps and edges of a channel

  CrossingBook(const model::Jig& jig, const History& history, const std::deque<Capture>& captures);

  /// Any armed level serves: what counts is which two readings the chip stamped.
  void stamp(const steadyrail::proto::Crossing& crossing);
  /// A lasting edge of PWR_OK or PS_ON#.
  void edge(const steadyrail::proto::Edge& edge);

  /// The first of `windows` in which the channel reaches `volts` or more (rising), or falls below it.
  std::optional<Instant> first(std::size_t channel, double volts, bool rising,
                               std::span<const History::Window> windows) const;
  /// When the channel fell below `volts` for good; nothing when it did not, or was never above.
  std::optional<Instant> left(std::size_t channel, double volts, std::span<const History::Window> windows) const;
  /// The comparator's edge of a line in [from, to) scans, the last of them.
  std::optional<Instant> edge_in(steadyrail::proto::Line line, bool high, double from, double to) const;

 private:
  struct Stamp {
    std::uint64_t scan = 0;   // of the reading before
    std::int32_t before = 0;  // code
    std::int32_t after = 0;
  };
  struct LineEdge {
    double scan = 0;
    bool high = false;
  };
  std::optional<Instant> sharpened(std::size_t channel, double volts, bool rising, std::uint64_t from,
                                   std::uint64_t to) const;
  std::optional<Instant> captured(const model::JigChannel& channel, double volts, bool rising, std::uint64_t from,
                                  std::uint64_t to) const;
  Instant interpolated(const model::JigChannel& channel, double volts, const Stamp& stamp,
                       steadyrail::proto::FigureSource source) const;
  Instant from_window(const model::JigChannel& channel, double volts, bool rising, const History::Window& window) const;

  const model::Jig& jig_;
  const History& history_;
  const std::deque<Capture>& captures_;
  std::array<std::deque<Stamp>, wire::kChannelCount> stamps_;
  std::array<std::deque<LineEdge>, 3> edges_;  // by Line; PWR_OK and PS_ON#
};

}  // namespace host::detect
