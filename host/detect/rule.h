// SPDX-License-Identifier: Apache-2.0
// The limits of one voltage channel as codes: what the chip is armed with and what windows are compared with.
#pragma once

#include <cstdint>
#include <optional>

#include "host/detect/excursion.h"
#include "host/judge/limit.h"
#include "host/model/jig.h"

namespace host::detect {

inline constexpr std::uint32_t kMergeScans = 16;    // 0.5 ms at 32 kS/s; own choice
inline constexpr std::uint32_t kLeastScans = 4;     // 125 us at 32 kS/s; own choice
inline constexpr double kHysteresisShare = 0.0025;  // of the nominal voltage; own choice
inline constexpr double kHysteresisSigmas = 4;
inline constexpr double kKeepSigmas = 6;

/// Least code whose voltage, rounded to the microvolt, is `limit` or more. May lie outside 16 bits.
std::int32_t least_code_at(const model::JigChannel& channel, model::Microvolts limit);
/// Greatest code whose voltage, rounded to the microvolt, is `limit` or less.
std::int32_t greatest_code_at(const model::JigChannel& channel, model::Microvolts limit);

/// In codes. Beyond means: below `limit` on the low side, above it on the high side.
ExcursionRule rule_in_codes(const model::JigChannel& channel, judge::Side side, model::Microvolts limit);

}  // namespace host::detect
