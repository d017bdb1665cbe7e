// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/stuck_switch.h"

#include <algorithm>

namespace firmware {
namespace {

constexpr std::int32_t kToleranceOfLevel = 8;

std::int32_t mean_code(const ScanBlock& block, const ScanSums* sums, std::size_t channel, std::uint32_t from) {
  if (from == 0 && sums != nullptr) {
    return sums->channels[channel].sum / static_cast<std::int32_t>(wire::kScansPerBlock);
  }
  std::int32_t sum = 0;
  for (std::uint32_t s = from; s < wire::kScansPerBlock; ++s) sum += block.codes[s][channel];
  return sum / static_cast<std::int32_t>(wire::kScansPerBlock - from);
}

}  // namespace

std::optional<std::uint8_t> StuckSwitchWatch::look(const ScanBlock& block, const ScanSums* sums,
                                                   const LoadBank& bank) const {
  for (std::uint8_t gate = 0; gate < kGateCount; ++gate) {
    const bool off = (health_.gates >> gate & 1) == 0;
    if (off && bank.branches[gate].level_codes != 0 && stuck(block, sums, bank, gate)) return gate;
  }
  return std::nullopt;
}

bool StuckSwitchWatch::stuck(const ScanBlock& block, const ScanSums* sums, const LoadBank& bank,
                             std::uint8_t gate) const {
  const LoadBranch& branch = bank.branches[gate];
  std::int32_t on_codes = 0;
  std::uint64_t settled_scan = block.first_scan;
  for (std::uint32_t k = 0; k < kGateCount; ++k) {
    const LoadBranch& other = bank.branches[k];
    if (other.level_codes == 0 || other.channel != branch.channel) continue;
    settled_scan = std::max(settled_scan, outputs_.edge_scan(k) + kStuckAfterScans);
    if ((health_.gates >> k & 1) != 0) on_codes += static_cast<std::int32_t>(other.level_codes);
  }
  const std::uint64_t from = settled_scan - block.first_scan;
  if (from > wire::kScansPerBlock - kStuckMeanScansLeast) return false;
  const std::int32_t allowed = branch.idle_code + on_codes + on_codes / kToleranceOfLevel +
                               static_cast<std::int32_t>(branch.level_codes) / kStuckPerLevel;
  return mean_code(block, sums, branch.channel, static_cast<std::uint32_t>(from)) > allowed;
}

}  // namespace firmware
