// SPDX-License-Identifier: Apache-2.0
// Collects windows of 32..256 scans into blocks of 32 windows. One block fills while another waits for the line; when
// the line is late the two are merged into one, so that resolution falls and no extreme is lost.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "firmware/core/health.h"
#include "firmware/core/scan_sums.h"
#include "proto/wire/window.h"

namespace firmware {

struct StampedWindows {
  std::uint64_t first_scan = 0;
  std::uint32_t armed_set = 0;
  std::uint32_t clipped_mask = 0;
  wire::WindowBlock block{};

  std::uint32_t scans() const { return block.scans_per_window * block.window_count; }
};

class WindowAccumulator {
 public:
  explicit WindowAccumulator(Health& health) : health_(health) {}

  /// Begins anew; what waits stays. `scans_per_window` 32, 64, 128 or 256.
  void begin(std::uint32_t scans_per_window, std::uint32_t armed_set);

  /// Adds one block's sums; a block that is not where the last one ended must be preceded by flush().
  void add(std::uint64_t first_scan, const ScanSums& sums);

  /// Closes what has been collected, at a gap or a stop. A window cut short is kept as shorter ones, so that no extreme
  /// is lost.
  void flush();

  /// The block to send next, or null. It may be merged in place; release() when it is on the line. It may grow by a
  /// merge in add() and flush(): changes() then differs.
  StampedWindows* waiting();
  void release();
  std::uint32_t changes() const { return changes_; }

  /// What the frame of the waiting block may take of the line: `percent` of it over the block's time, or over that of a
  /// whole block where it was cut short (its few windows cannot be made cheaper by merging).
  std::size_t slot_bytes(std::uint32_t line_bytes_per_s, std::uint32_t percent) const;

 private:
  static constexpr std::size_t kLevels = 3;  // stretches of 32, 64 and 128 scans on their way to a window of 256

  struct Stretch {
    std::uint64_t first_scan = 0;
    ScanSums sums{};  // sums.scans 0: empty
  };

  void carry_up(std::uint64_t first_scan, const ScanSums& sums);
  void append(std::uint64_t first_scan, const ScanSums& window);
  void hand_over();

  Health& health_;
  std::uint32_t scans_per_window_ = 32;
  std::uint32_t armed_set_ = 0;
  std::uint32_t changes_ = 0;
  std::array<StampedWindows, 2> blocks_{};
  std::size_t filling_ = 0;  // the other one waits
  bool waiting_ = false;
  std::array<Stretch, kLevels> levels_{};
  std::array<Stretch, kLevels> tail_{};  // rests of a cut window, sent after the block that waits
  std::uint32_t tail_set_ = 0;
};

}  // namespace firmware
