// SPDX-License-Identifier: Apache-2.0
// The last seconds of windows: what stood before an event that has only now ended.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <functional>
#include <optional>
#include <vector>

#include "host/detect/block.h"
#include "proto/wire/window.h"
#include "result.pb.h"

namespace host::detect {

class History {
 public:
  static constexpr std::size_t kBlocks = 96;  // 3 s of 1 ms windows

  /// One window of the past; `columns` of all channels at `index`.
  struct Window {
    std::uint64_t start = 0;
    std::uint32_t scans = 0;
    std::size_t slot = 0;
    std::uint32_t index = 0;
    std::uint64_t end() const { return start + scans; }
  };

  void add(const Block& block);
  /// End of the newest window; 0 before the first.
  std::uint64_t end() const { return end_; }

  std::int16_t low(const Window& window, std::size_t channel) const;
  std::int16_t high(const Window& window, std::size_t channel) const;
  double mean(const Window& window, std::size_t channel) const;  // code

  /// Calls `visit` for each window held that shares a scan with [from, to), oldest first.
  void visit(std::uint64_t from, std::uint64_t to, const std::function<void(const Window&)>& visit) const;

  /// Mean code of the last window that ended at `scan` or before.
  std::optional<double> level_before(std::size_t channel, std::uint64_t scan) const;
  /// No when any window of [from, to) lay outside the rating, else unknown when any is unknown or none is held, else
  /// yes.
  steadyrail::proto::WithinRating within(steadyrail::proto::Rail rail, std::uint64_t from, std::uint64_t to) const;

 private:
  struct Columns {
    std::array<std::int32_t, wire::kWindowsPerBlock> mean_8;
    std::array<std::int16_t, wire::kWindowsPerBlock> min;
    std::array<std::int16_t, wire::kWindowsPerBlock> max;
  };
  struct Slot {
    std::uint64_t first = 0;
    std::uint32_t scans = 0;
    std::uint32_t count = 0;
    std::array<Columns, wire::kChannelCount> channels;
    std::uint64_t end() const { return first + std::uint64_t{scans} * count; }
  };
  struct Change {
    std::uint64_t scan;
    judge::Load load;
  };
  void note_rating(const Block& block);

  std::vector<Slot> slots_ = std::vector<Slot>(kBlocks);
  std::size_t next_ = 0;  // slot to write
  std::size_t held_ = 0;
  std::uint64_t end_ = 0;
  std::array<std::deque<Change>, judge::kRailCount> ratings_;
};

}  // namespace host::detect
