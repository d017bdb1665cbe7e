// SPDX-License-Identifier: Apache-2.0
// What a load step does to the voltage of its connector: droop on a rising load, overshoot on release.
#pragma once

#include <cstdint>
#include <optional>
#include <span>

namespace host::detect {

inline constexpr double kRecoveryBandShare = 0.005;  // of the nominal voltage; own choice
inline constexpr double kRecoveryBandSigmas = 4;
inline constexpr std::uint64_t kDroopLeadScans = 32;  // 1 ms at 32 kS/s: the mean before the step

/// Volts, positive in the direction the step pushes: down on a rising load, up on release.
struct Droop {
  double before = 0;   // mean of the millisecond before the step
  double settled = 0;  // mean of the millisecond before `next`
  double extreme = 0;
  std::uint64_t extreme_at = 0;
  double deviation = 0;              // from `before` to the extreme
  double shift = 0;                  // from `before` to `settled`
  double undershoot = 0;             // from `settled` to the extreme
  std::uint64_t minimum_scans = 0;   // from the step to the extreme, first of equals
  std::uint64_t recovery_scans = 0;  // from the step to the first scan after which the band is never left again
};

/// `volts` holds 32 scans before `step` and reaches to `next`, the next step or where the look ends, at least 34 scans
/// later; nothing when it does not. `band`: half-width round `settled`, V.
std::optional<Droop> measure_droop(std::span<const double> volts, std::uint64_t step, std::uint64_t next, bool rising,
                                   double band);

}  // namespace host::detect
