// SPDX-License-Identifier: Apache-2.0
#include "host/detect/settled.h"

#include <algorithm>
#include <cmath>
#include <utility>

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
    if (!block.follows) state.quiet_scans = 0;
    masks_[rail] = settled(block, moved(block, state), state);
  }
  return masks_;
}

std::uint32_t SettledFinder::moved(const Block& block, RailState& state) {
  // Over whole columns, windows that are not there included: loops of known length become vector instructions.
  constexpr std::size_t kLast = wire::kWindowsPerBlock - 1;
  std::array<std::int32_t, wire::kWindowsPerBlock> moved{};
  for (Current& current : state.currents) {
    const auto& columns = block.windows->channels[current.index];
    std::array<std::int32_t, wire::kWindowsPerBlock> before;
    before[0] = block.follows ? current.mean_8 : columns.mean_8[0];
    std::copy_n(columns.mean_8.begin(), kLast, before.begin() + 1);
    const std::int32_t range_codes = current.range_codes;
    const std::int32_t jump_8 = current.jump_8;
    for (std::size_t i = 0; i < wire::kWindowsPerBlock; ++i) {
      const std::int32_t jump = std::abs(columns.mean_8[i] - before[i]);
      moved[i] |= (columns.max[i] - columns.min[i] > range_codes ? 1 : 0) | (jump > jump_8 ? 1 : 0);
    }
    current.mean_8 = columns.mean_8[block.count - 1];
  }
  std::uint32_t mask = 0;
  for (std::size_t i = 0; i < wire::kWindowsPerBlock; ++i) mask |= static_cast<std::uint32_t>(moved[i]) << i;
  return mask & block.all();
}

std::uint32_t SettledFinder::settled(const Block& block, std::uint32_t moved, RailState& state) const {
  if (moved == 0 && state.quiet_scans >= guard_scans_) return block.all();
  std::uint32_t mask = 0;
  for (std::uint32_t i = 0; i < block.count; ++i) {
    if ((moved >> i & 1U) != 0) {
      state.quiet_scans = 0;
      continue;
    }
    if (state.quiet_scans >= guard_scans_) mask |= 1U << i;
    state.quiet_scans = std::min(state.quiet_scans + block.scans, 2 * guard_scans_);
  }
  return mask;
}

SettledFinder::Loads SettledFinder::loads(steadyrail::proto::Rail rail, const Block& block) const {
  Loads sums{};
  for (const Current& current : rails_[rail].currents) {
    const auto& mean_8 = block.windows->channels[current.index].mean_8;
    for (std::size_t i = 0; i < sums.size(); ++i) sums[i] += current.per_code * mean_8[i] / 8.0 + current.at_code_0;
  }
  return sums;
}

SettledPools::SettledPools(double scan_rate_hz, std::vector<std::size_t> channels)
    : channels_(std::move(channels)),
      full_scans_(static_cast<std::uint32_t>(std::lround(kMeanS * scan_rate_hz))),
      stale_scans_(static_cast<std::uint64_t>(kStaleS * scan_rate_hz)),
      sums_8_(kLevels * channels_.size()) {
  means_.codes.resize(channels_.size());
}

std::size_t SettledPools::level(double load_a) {
  return static_cast<std::size_t>(std::clamp(load_a / kLevelA, 0.0, static_cast<double>(kLevels - 1)));
}

const SettledPools::Means* SettledPools::add(std::size_t level, judge::Load within, const Block& block,
                                             std::uint32_t& window, std::uint32_t end) {
  Pool& pool = pools_[level];
  std::int64_t* sums_8 = sums_8_.data() + level * channels_.size();
  if (pool.scans == 0 || block.start_of(window) - pool.last > stale_scans_) {
    pool = Pool{};
    std::fill_n(sums_8, channels_.size(), 0);
  }
  const std::uint32_t wanted = (full_scans_ - pool.scans + block.scans - 1) / block.scans;
  const std::uint32_t first = window;
  window += std::min(wanted, end - window);
  for (std::size_t i = 0; i < channels_.size(); ++i) {
    const auto& mean_8 = block.windows->channels[channels_[i]].mean_8;
    std::int64_t sum_8 = 0;
    for (std::uint32_t k = first; k < window; ++k) sum_8 += mean_8[k];
    sums_8[i] += sum_8 * block.scans;
  }
  pool.scans += (window - first) * block.scans;
  pool.last = block.start_of(window - 1);
  if (within != judge::Load::kWithin) pool.within = within;
  if (pool.scans < full_scans_) return nullptr;
  for (std::size_t i = 0; i < channels_.size(); ++i) {
    means_.codes[i] = static_cast<double>(sums_8[i]) / 8 / pool.scans;
  }
  means_.within = pool.within;
  pool.scans = 0;
  return &means_;
}

}  // namespace host::detect
