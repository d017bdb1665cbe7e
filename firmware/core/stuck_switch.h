// SPDX-License-Identifier: Apache-2.0
// A load switch that failed short: its gate is off, and its branch still draws current.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "firmware/core/load_bank.h"
#include "firmware/core/outputs.h"
#include "firmware/core/scan_sums.h"
#include "firmware/core/scan_time.h"
#include "firmware/hal/scan_source.h"

namespace firmware {

inline constexpr std::uint32_t kStuckAfterScans = 2 * kScansPerMillisecond;
inline constexpr std::int32_t kStuckPerLevel = 20;         // above 1/20 of its level, 5 %, a branch is not off
inline constexpr std::uint32_t kStuckMeanScansLeast = 16;  // fewer say too little: noise

class StuckSwitchWatch {
 public:
  StuckSwitchWatch(const Outputs& outputs, const Health& health) : outputs_(outputs), health_(health) {}

  /// The lowest gate whose channel still says more than 5 % of its level, on the mean of the block's scans that lie 2
  /// ms and more after it went off. Where branches that are on share the channel, their levels are taken off first and
  /// 1/8 of them allowed for, as resistors warm and differ (own choice): a small branch beside big ones is then not
  /// seen. Gates that switch again within 2 ms are not judged.
  /// `sums` of the block may be null: its scans are then walked.
  std::optional<std::uint8_t> look(const ScanBlock& block, const ScanSums* sums, const LoadBank& bank) const;

 private:
  bool stuck(const ScanBlock& block, const ScanSums* sums, const LoadBank& bank, std::uint8_t gate) const;

  const Outputs& outputs_;
  const Health& health_;
};

}  // namespace firmware
