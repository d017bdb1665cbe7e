// SPDX-License-Identifier: Apache-2.0
#include "host/detect/droop.h"

#include <cmath>

namespace host::detect {
namespace {

constexpr std::uint64_t kMeanScans = kDroopLeadScans;

double mean(std::span<const double> volts) {
  double sum = 0;
  for (double v : volts) sum += v;
  return sum / static_cast<double>(volts.size());
}

}  // namespace

std::optional<Droop> measure_droop(std::span<const double> volts, std::uint64_t step, std::uint64_t next, bool rising,
                                   double band) {
  if (step < kMeanScans || next > volts.size() || next < step + kMeanScans + 2) return std::nullopt;
  const double sign = rising ? 1 : -1;
  Droop droop;
  droop.before = mean(volts.subspan(step - kMeanScans, kMeanScans));
  droop.settled = mean(volts.subspan(next - kMeanScans, kMeanScans));
  droop.extreme_at = step;
  for (std::uint64_t i = step; i < next; ++i) {
    if (sign * volts[i] < sign * volts[droop.extreme_at]) droop.extreme_at = i;
    if (std::abs(volts[i] - droop.settled) > band) droop.recovery_scans = i + 1 - step;
  }
  droop.extreme = volts[droop.extreme_at];
  droop.deviation = sign * (droop.before - droop.extreme);
  droop.shift = sign * (droop.before - droop.settled);
  droop.undershoot = sign * (droop.settled - droop.extreme);
  droop.minimum_scans = droop.extreme_at - step;
  return droop;
}

}  // namespace host::detect
