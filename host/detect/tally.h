// SPDX-License-Identifier: Apache-2.0
// What the verdicts rest on: worst settled mean and worst single sample of every voltage channel, inside the rating.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "host/detect/capture_store.h"
#include "host/detect/settled.h"
#include "host/detect/shape.h"

namespace host::detect {

/// A figure in codes, where it stood and what is known of the load then.
struct Worst {
  double code = 0;
  std::uint64_t at = 0;
  judge::Load within = judge::Load::kUnknown;
  std::uint32_t scans = 0;  // of the window that holds an extreme
  Shape shape{};            // of an extreme
  bool begins_due = false;  // the window before it was not judged: the supply was off
  bool ends_due = false;    // nor the one after it
  bool fresh = false;       // windows that reach to an extreme are still to come
};

/// Of one voltage channel; index 0: low side, 1: high side.
struct ChannelTally {
  std::size_t channel = 0;
  steadyrail::proto::Rail rail = steadyrail::proto::RAIL_UNKNOWN;
  std::array<std::optional<Worst>, 2> dynamic;   // single samples while on, neither outside the rating nor in doubt
  std::array<std::optional<Worst>, 2> doubtful;  // the same while the rating is in doubt
  std::array<std::optional<Worst>, 2> outside;   // the same outside the rating
  std::array<std::optional<Worst>, 2> stepped;   // the same while a load step bigger than specified was at work
  std::array<std::optional<Worst>, 2> settled;   // 10 ms means
  bool due_before = true;                        // in the last window of the block before
  double settled_s = 0;
  std::uint64_t scans_on = 0;
  double sum_on = 0;   // of codes over scans_on
  double load_on = 0;  // of its current channel's codes meanwhile
  std::optional<std::size_t> current;
};

class Tally {
 public:
  /// Whether a load step bigger than the edition's is at work on a rail in some scan of a stretch.
  using BeyondStep = std::function<bool(steadyrail::proto::Rail, std::uint64_t, std::uint64_t)>;

  Tally(const model::Jig& jig, BeyondStep beyond_step);
  /// `finder`: the one that marked the block's settled windows.
  void add(const Block& block, const SettledFinder& finder);
  /// Looks at the shape of extremes that are new: in the windows round them and the captures kept. `chains` by channel.
  void shape(const History& history, const std::deque<Capture>& captures, std::span<const judge::UnderRead> chains);
  void shape(const Capture& capture, std::span<const judge::UnderRead> chains);
  /// Nothing follows: the last extremes are taken as they are known.
  void finish() { take_fresh(); }
  const std::vector<ChannelTally>& channels() const { return channels_; }
  std::uint64_t scans_seen() const { return scans_seen_; }
  std::uint64_t scans_on() const { return scans_on_; }

 private:
  /// An extreme that may become a channel's worst once the chip has told of the steps round it.
  struct Candidate {
    std::size_t place;  // in channels_
    int side;
    Worst worst;
  };
  void extremes(const Block& block, std::size_t place);
  void take_fresh();
  template <typename Visit>
  void visit_extremes(const Visit& visit);
  struct RailPools {
    steadyrail::proto::Rail rail;
    std::vector<std::size_t> places;  // in channels_
    SettledPools pools;
  };
  void means(const Block& block, const SettledFinder& finder, RailPools& rail);
  void note(const SettledPools::Means& means, std::uint64_t at, const RailPools& rail);

  std::vector<ChannelTally> channels_;
  std::vector<RailPools> rails_;
  std::vector<Candidate> candidates_;  // of the newest block
  BeyondStep beyond_step_;
  double scan_period_s_;
  std::uint64_t scans_seen_ = 0;
  std::uint64_t scans_on_ = 0;
  bool fresh_ = false;  // some extreme is
};

}  // namespace host::detect
