// SPDX-License-Identifier: Apache-2.0
// Excursions of a session: the chip's own where it was armed with the edition judged, windows otherwise and besides.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <functional>
#include <span>
#include <vector>

#include "host/detect/capture_store.h"
#include "host/detect/found.h"
#include "host/detect/history.h"
#include "host/detect/window_run.h"
#include "link.pb.h"

namespace host::detect {

class ExcursionDesk {
 public:
  /// Whether a load step bigger than the edition's is at work on a rail in some scan of a stretch.
  using BeyondStep = std::function<bool(steadyrail::proto::Rail, std::uint64_t, std::uint64_t)>;

  /// `armed`: the jig was armed with `limits`. `chains` by channel index. `listed` is told of each event that enters
  /// the book.
  ExcursionDesk(const model::Jig& jig, const steadyrail::proto::LimitSet* limits, bool armed, EventBook& book,
                const History& history, std::span<const judge::UnderRead> chains,
                std::function<void(const Found&)> listed, BeyondStep beyond_step);

  void add(const Block& block);
  void chip(const steadyrail::proto::Excursion& event);
  void storm(const steadyrail::proto::Storm& event);
  /// Sharpens what only windows told: start, end, area and the scans beyond, to the scan.
  void capture(const Capture& capture);
  /// A hole: open runs end, truncated.
  void gap();
  /// Nothing follows: everything that waits is resolved.
  void finish();

  /// The rule of a channel and side in codes; nullptr where the edition has no limit.
  const ExcursionRule* rule(std::size_t channel, judge::Side side) const;
  /// Whether the limits of the channel's rail did not hold somewhere in [start, end).
  bool meets_off(std::size_t channel, std::uint64_t start, std::uint64_t end) const;
  /// Scans during which the supply was off, and in how many stretches.
  std::uint64_t scans_off() const { return scans_off_; }
  std::uint64_t stretches_off() const { return stretches_off_; }
  /// Places where chip and windows contradict each other, in words.
  std::vector<std::string> contradictions() const;

 private:
  struct Waiting {
    Found found;
    std::uint64_t due = 0;  // resolved when windows reach this scan
    bool run = false;
    WindowRun window;
  };
  struct Span {
    std::uint64_t start;
    std::uint64_t end;
  };
  struct Sided {
    int tracker = -1;
    std::deque<Span> chip;  // what the chip reported of late
    std::uint64_t chip_events = 0;
    std::uint64_t counted_beyond = 0;  // scans, by the windows' own counts
    std::uint64_t unreported = 0;      // runs the chip should have kept
  };

  Sided& sided(std::size_t channel, judge::Side side) { return sided_[channel][side == judge::Side::kHigh]; }
  const Sided& sided(std::size_t channel, judge::Side side) const {
    return sided_[channel][side == judge::Side::kHigh];
  }
  void sharpen(const Capture& capture, const WindowRunTracker& tracker);
  void remember(std::size_t channel, judge::Side side, std::uint64_t start, std::uint64_t end);
  void count_beyond(const Block& block);
  void note_off(const Block& block);
  void collect();
  void wait(Waiting waiting);
  void release(std::uint64_t reached);
  void resolve(Waiting& waiting);
  bool reported(const WindowRun& run) const;
  bool worth_listing(Waiting& waiting);

  const model::Jig& jig_;
  bool armed_;
  EventBook& book_;
  const History& history_;
  std::span<const judge::UnderRead> chains_;
  std::function<void(const Found&)> listed_;
  BeyondStep beyond_step_;
  std::vector<WindowRunTracker> trackers_;
  std::array<std::array<Sided, 2>, wire::kChannelCount> sided_;
  std::vector<WindowRun> ended_;
  std::deque<Waiting> waiting_;
  std::deque<Span> off_;          // stretches with the supply off, the last of them
  std::deque<Span> standby_off_;  // the same where +5 V standby was not due
  std::uint64_t scans_off_ = 0;
  std::uint64_t stretches_off_ = 0;
};

}  // namespace host::detect
