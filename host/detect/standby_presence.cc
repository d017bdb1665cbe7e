// SPDX-License-Identifier: Apache-2.0
#include "host/detect/standby_presence.h"

#include <algorithm>
#include <cmath>

#include "host/detect/rule.h"
#include "host/judge/limit.h"

namespace host::detect {
namespace {

constexpr double kSlowestHz = 47;    // of the mains (ATX12V design guide 2.0, table 1)
constexpr double kStartS = 2;        // valid mains to +5 V standby (ATX12V design guide 2.0, section 3.3.4)
constexpr double kSwingShare = 0.5;  // of the greatest peak seen: less is a mains too low to owe anything; own choice
constexpr double kSwingLeastV = 2;   // below it no adapter is plugged in; own choice
constexpr double kUpShare = 0.95;    // of nominal, where no edition names a limit

const model::JigChannel* adapter_of(const model::Jig& jig) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind == steadyrail::proto::CHANNEL_KIND_AC_PRESENT) return &channel;
  }
  return nullptr;
}

}  // namespace

StandbyPresence::StandbyPresence(const model::Jig& jig, const steadyrail::proto::LimitSet* limits)
    : adapter_(adapter_of(jig)),
      // A sine swings to its peak once a half cycle; its windows are cut anywhere, hence a quarter more.
      half_cycle_scans_(static_cast<std::uint32_t>(std::lround(1.25 * jig.scan_rate_hz() / (2 * kSlowestHz)))),
      start_scans_(static_cast<std::uint32_t>(std::lround(kStartS * jig.scan_rate_hz()))) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE) continue;
    if (channel.rail != steadyrail::proto::RAIL_P5VSB) continue;
    const auto limit = limits == nullptr ? std::nullopt : judge::limit_for(*limits, channel);
    const auto least = limit ? limit->low : model::to_microvolts(kUpShare * model::rail_nominal_v(channel.rail));
    standbys_.push_back({channel.index, least_code_at(channel, least)});
  }
}

void StandbyPresence::gap() {
  mains_ = false;
  up_ = false;
  alive_until_ = 0;
}

bool StandbyPresence::mains(const Block& block, std::uint32_t window) {
  const auto& columns = block.windows->channels[adapter_->index];
  const double swing =
      std::max(std::abs(adapter_->value(columns.min[window])), std::abs(adapter_->value(columns.max[window])));
  peak_v_ = std::max(peak_v_, swing);
  const std::uint64_t start = block.start_of(window);
  if (swing >= kSwingLeastV && swing >= kSwingShare * peak_v_) alive_until_ = start + block.scans + half_cycle_scans_;
  return start + block.scans <= alive_until_;
}

bool StandbyPresence::risen(const Block& block, std::uint32_t window) const {
  return std::ranges::all_of(standbys_, [&](const Standby& standby) {
    return block.windows->channels[standby.channel].min[window] >= standby.up_code;
  });
}

std::uint32_t StandbyPresence::find(const Block& block) {
  if (adapter_ == nullptr || standbys_.empty()) return 0;
  std::uint32_t due = 0;
  for (std::uint32_t i = 0; i < block.count; ++i) {
    const bool now = mains(block, i);
    if (now && !mains_) since_ = block.start_of(i);
    mains_ = now;
    if (!now) {
      up_ = false;
      continue;
    }
    up_ = up_ || risen(block, i) || block.start_of(i) - since_ >= start_scans_;
    if (up_) due |= 1U << i;
  }
  return due;
}

}  // namespace host::detect
