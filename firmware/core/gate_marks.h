// SPDX-License-Identifier: Apache-2.0
// Where the jig's own load edges lay lately, so that a step found later is known for the jig's own.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

namespace firmware {

class GateMarks {
 public:
  /// An edge within 16 scans of the latest mark makes that one longer: steps are told apart at 20 scans.
  void add(std::uint64_t scan) {
    const auto low = static_cast<std::uint32_t>(scan);
    const std::size_t latest = (next_ + kMarks - 1) % kMarks;
    if (count_ != 0 && low - marks_[latest] < kMarkScansMost) {
      scans_[latest] = static_cast<std::uint8_t>(low - marks_[latest]);
      return;
    }
    marks_[next_] = low;
    scans_[next_] = 0;
    next_ = static_cast<std::uint8_t>((next_ + 1) % kMarks);
    if (count_ < kMarks) ++count_;
  }

  /// True when an edge lay within `reach_scans` of `scan`, which is at most some seconds back.
  bool near(std::uint64_t scan, std::uint32_t reach_scans) const {
    for (std::size_t k = 0; k < count_; ++k) {
      const auto apart = static_cast<std::int32_t>(static_cast<std::uint32_t>(scan) - marks_[k]);
      const auto reach = static_cast<std::int32_t>(reach_scans);
      if (apart >= -reach && apart <= reach + scans_[k]) return true;
    }
    return false;
  }

 private:
  static constexpr std::size_t kMarks = 16;  // 8 ms: a board's lead and the time it takes to find a step
  static constexpr std::uint32_t kMarkScansMost = 16;

  std::array<std::uint32_t, kMarks> marks_{};  // low bits of the scans
  std::array<std::uint8_t, kMarks> scans_{};   // from a mark to the last edge that belongs to it
  std::uint8_t next_ = 0;
  std::uint8_t count_ = 0;
};

}  // namespace firmware
