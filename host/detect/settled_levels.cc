// SPDX-License-Identifier: Apache-2.0
#include "host/detect/settled_levels.h"

#include <bit>
#include <cmath>

#include "host/detect/arm.h"

namespace host::detect {
namespace {

constexpr double kGuardS = 4e-3;          // as for windows: ten time constants of the usual recovery; own choice
constexpr std::uint64_t kMeanScans = 32;  // of a settled mean of the chip
constexpr std::size_t kRecentMost = 16;   // a group of steps never holds more of one rail

}  // namespace

void PointStore::add(const SettledPoint& point) {
  ++seen_;
  if (points_.size() < kMost) {
    points_.push_back(point);
    return;
  }
  // Knuth's MMIX generator, as in reservoir.h.
  state_ = state_ * 6364136223846793005U + 1442695040888963407U;
  const std::uint64_t place = (state_ >> 33) % seen_;
  if (place < kMost) points_[place] = point;
}

SettledLevels::SettledLevels(const model::Jig& jig)
    : jig_(jig),
      pwr_ok_(pwr_ok_channel(jig)),
      guard_scans_(static_cast<std::uint64_t>(std::llround(kGuardS * jig.scan_rate_hz()))) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind == steadyrail::proto::CHANNEL_KIND_CURRENT) rails_ |= rail_bit(channel.rail);
  }
  rails_ &= static_cast<std::uint8_t>(~rail_bit(steadyrail::proto::RAIL_UNKNOWN));
}

void SettledLevels::step(const steadyrail::proto::LoadStep& event) {
  const auto* channel = event.channel() < wire::kChannelCount ? jig_.at(event.channel()) : nullptr;
  if (channel == nullptr || channel->kind != steadyrail::proto::CHANNEL_KIND_CURRENT) return;
  if (event.scan() >= kScanMost) return;
  const auto rail = static_cast<std::size_t>(channel->rail);
  if (rail == 0 || rail >= steps_.size()) return;
  auto& recent = steps_[rail].recent;
  recent.push_back(event.scan());
  if (recent.size() > kRecentMost) recent.pop_front();
}

void SettledLevels::settled(const steadyrail::proto::SettledMeans& event) {
  const std::uint64_t from = event.before_scan();
  if (from >= kScanMost) return;
  SettledPoint point;
  for (const auto& channel : jig_.channels()) {
    const auto index = static_cast<int>(channel.index);
    if (index >= event.before_code_8_size()) return;
    point.values[channel.index] = static_cast<float>(channel.value(event.before_code_8(index) / 8.0));
  }
  if (!on(point)) return;
  std::array<std::optional<std::uint64_t>, judge::kRailCount> last;
  for (std::size_t rail = 1; rail < steps_.size(); ++rail) {
    const auto bit = static_cast<std::uint8_t>(1U << rail);
    if ((rails_ & bit) == 0) continue;
    const RailSteps& steps = steps_[rail];
    for (std::uint64_t scan : steps.recent) {
      if (scan < from + kMeanScans) last[rail] = scan;
    }
    if (last[rail] && *last[rail] + guard_scans_ > from) continue;
    point.settled |= bit;
    if (!steps.any || last[rail] != steps.told) point.fresh |= bit;
  }
  if (point.fresh == 0) return;
  for (std::size_t rail = 1; rail < steps_.size(); ++rail) {
    if ((point.fresh >> rail & 1U) == 0) continue;
    steps_[rail].any = true;
    steps_[rail].told = last[rail];
  }
  chip_.add(point);
}

bool SettledLevels::on(const SettledPoint& point) const {
  return pwr_ok_ == nullptr || point.values[pwr_ok_->index] >= kPwrOkHigh.volts();
}

void SettledLevels::add(const Block& block) {
  if (!block.follows) was_settled_ = 0;
  std::array<std::uint32_t, judge::kRailCount> begins{};
  std::uint32_t any = 0;
  std::uint32_t still = 0;
  for (std::size_t rail = 1; rail < judge::kRailCount; ++rail) {
    if ((rails_ >> rail & 1U) == 0) continue;
    const std::uint32_t here = block.settled[rail] & block.on;
    begins[rail] = here & ~(here << 1 | (was_settled_ >> rail & 1U));
    any |= begins[rail];
    still |= (here >> (block.count - 1) & 1U) << rail;
  }
  was_settled_ = still;
  for (; any != 0; any &= any - 1) {
    const auto window = static_cast<std::uint32_t>(std::countr_zero(any));
    SettledPoint point;
    for (std::size_t rail = 1; rail < judge::kRailCount; ++rail) {
      if ((rails_ >> rail & 1U) == 0) continue;
      if ((block.settled[rail] >> window & 1U) != 0) point.settled |= static_cast<std::uint8_t>(1U << rail);
      if ((begins[rail] >> window & 1U) != 0) point.fresh |= static_cast<std::uint8_t>(1U << rail);
    }
    for (const auto& channel : jig_.channels()) {
      const double code = block.windows->channels[channel.index].mean_8[window] / 8.0;
      point.values[channel.index] = static_cast<float>(channel.value(code));
    }
    window_.add(point);
  }
}

void SettledLevels::restarted() {
  was_settled_ = 0;
  for (RailSteps& steps : steps_) {
    steps.recent.clear();
    steps.told.reset();
    steps.any = false;
  }
}

}  // namespace host::detect
