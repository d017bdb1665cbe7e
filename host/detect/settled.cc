// SPDX-License-Identifier: Apache-2.0
#include "host/detect/settled.h"

#include <algorithm>
#include <cmath>

namespace host::detect {
namespace {

constexpr double kGuardS = 4e-3;
constexpr double kStillA = 0.5;
constexpr double kRangeSigmas = 8;  // 32 normal samples span 8 sigma less than once in a thousand windows
constexpr double kMeanS = 10e-3;
constexpr double kStaleS = 1;  // a pool older than this begins anew: the supply may have warmed
constexpr double kLevelA = 2;  // pools are kept apart by load in steps of this

}  // namespace

SettledFinder::SettledFinder(const model::Jig& jig)
    : guard_scans_(static_cast<std::uint32_t>(std::lround(kGuardS * jig.scan_rate_hz()))) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_CURRENT) continue;
    const auto rail = static_cast<std::size_t>(channel.rail);
    if (rail == 0 || rail >= judge::kRailCount) continue;
    Current current{};
    current.index = channel.index;
    current.per_code = channel.per_code;
    current.at_code_0 = channel.at_code_0;
    current.range_codes =
        static_cast<std::int32_t>(std::ceil((kStillA + kRangeSigmas * channel.noise_rms) / channel.per_code));
    current.jump_8 = static_cast<std::int32_t>(std::ceil(8 * kStillA / channel.per_code));
    rails_[rail].currents.push_back(current);
  }
}

const std::array<std::uint32_t, judge::kRailCount>& SettledFinder::find(const Block& block) {
  for (std::size_t rail = 1; rail < judge::kRailCount; ++rail) {
    RailState& state = rails_[rail];
    if (state.currents.empty()) {
      masks_[rail] = block.all();
      continue;
    }
    std::array<std::uint8_t, wire::kWindowsPerBlock> moved{};
    for (Current& current : state.currents) {
      const auto& columns = block.windows->channels[current.index];
      std::int32_t before = block.follows ? current.mean_8 : columns.mean_8[0];
      for (std::uint32_t i = 0; i < block.count; ++i) {
        const std::int32_t jump = std::abs(columns.mean_8[i] - before);
        before = columns.mean_8[i];
        moved[i] |= static_cast<std::uint8_t>((columns.max[i] - columns.min[i] > current.range_codes) |
                                              (jump > current.jump_8));
      }
      current.mean_8 = before;
    }
    if (!block.follows) state.quiet_scans = 0;
    std::uint32_t mask = 0;
    for (std::uint32_t i = 0; i < block.count; ++i) {
      if (moved[i] != 0) {
        state.quiet_scans = 0;
        continue;
      }
      if (state.quiet_scans >= guard_scans_) mask |= 1U << i;
      state.quiet_scans = std::min(state.quiet_scans + block.scans, 2 * guard_scans_);
    }
    masks_[rail] = mask;
  }
  return masks_;
}

double SettledFinder::load(steadyrail::proto::Rail rail, const Block& block, std::uint32_t window) const {
  double sum = 0;
  for (const Current& current : rails_[rail].currents) {
    sum += current.per_code * block.windows->channels[current.index].mean_8[window] / 8.0 + current.at_code_0;
  }
  return sum;
}

SettledPools::SettledPools(double scan_rate_hz)
    : full_scans_(static_cast<std::uint32_t>(std::lround(kMeanS * scan_rate_hz))),
      stale_scans_(static_cast<std::uint64_t>(kStaleS * scan_rate_hz)) {}

bool SettledPools::add(double load_a, std::uint64_t start, std::uint32_t scans, std::int32_t mean_8, judge::Load within,
                       Mean& mean) {
  const double level = std::clamp(load_a / kLevelA, 0.0, static_cast<double>(kLevels - 1));
  Pool& pool = pools_[static_cast<std::size_t>(level)];
  if (pool.scans > 0 && start - pool.last > stale_scans_) pool = Pool{};
  pool.sum_8 += std::int64_t{mean_8} * scans;
  pool.scans += scans;
  pool.last = start;
  if (within != judge::Load::kWithin) pool.within = within;
  if (pool.scans < full_scans_) return false;
  mean.code = static_cast<double>(pool.sum_8) / 8 / pool.scans;
  mean.at = start;
  mean.within = pool.within;
  pool = Pool{};
  return true;
}

}  // namespace host::detect
