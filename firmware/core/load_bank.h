// SPDX-License-Identifier: Apache-2.0
// What may be asked of the load bank, and whether a programme of load steps stays within it.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <expected>
#include <span>

#include "firmware/core/settings.h"
#include "firmware/hal/outputs.h"

namespace firmware {

inline constexpr std::size_t kLoadStepsMax = 32;
inline constexpr std::size_t kLoadGroupsMax = 8;
inline constexpr std::uint64_t kNanojoulesPerJoule = 1'000'000'000;  // a milliwatt for a microsecond is a nanojoule
inline constexpr std::uint32_t kCoolingSeconds = 60;                 // own choice, where the bank does not say

struct LoadStep {
  std::uint8_t gate = 0;
  bool on = false;
  std::uint32_t after_us = 0;  // after the step before
};

struct LoadBranch {
  bool described = false;
  std::uint8_t group = 0;
  std::uint8_t channel = 0;
  std::int16_t idle_code = 0;
  std::uint32_t level_codes = 0;  // 0: no channel sees it
  std::uint32_t current_ma = 0;
  std::uint32_t power_mw = 0;
  std::uint32_t on_time_ms_max = 0;
};

struct LoadBank {
  std::array<LoadBranch, kGateCount> branches{};  // by gate
  std::array<std::uint32_t, kLoadGroupsMax> current_ma_max{};
  std::uint32_t power_mw_max = 0;
  std::uint32_t energy_j_max = 0;       // of what is held
  std::uint32_t cooling_mw = 0;         // given off all the time
  std::uint32_t repetition_hz_max = 0;  // 0: no bank described
};

std::expected<LoadBank, Refused> load_bank_from(const steadyrail_proto_DescribeLoadBank& message);

/// Whether `rounds` of `steps`, beginning with `gates` on, stay within the bank. Steps of one instant are taken
/// together; the bank holds `held_nj` already, and what it gives off meanwhile is not counted on. A gate left on at the
/// end is watched while it is on, not foreseen here.
Refused check_programme(const LoadBank& bank, std::span<const LoadStep> steps, std::uint32_t rounds,
                        std::uint32_t gates, std::uint64_t held_nj = 0);

}  // namespace firmware
