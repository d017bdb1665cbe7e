// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/chip.h"

#include <algorithm>
#include <cmath>

#include "firmware/core/step_detector.h"
#include "firmware/core/step_reporter.h"

namespace trial {
namespace {

namespace proto = steadyrail::proto;

constexpr Scan kReach = firmware::kStepReachScans;
constexpr Scan kGap = firmware::kStepGapScans;
constexpr Scan kSettled = firmware::kSettledScans;
constexpr Scan kSettledAfter = firmware::kSettledAfterScans;
constexpr Scan kFreeLeast = firmware::kSettledFreeScansLeast;
constexpr Scan kPatience = 2 * kReach;  // until a step's neighbours are known
// From the last scan without the step to the middle of the plateau the chip stamps, and to half way through the edge:
// three scans of edge, and the chain's 22 us.
constexpr Scan kStampAfter = 1;
constexpr double kHalfWay = 1.2;

}  // namespace

ChipSteps::ChipSteps(const proto::Configure& configure, Means means)
    : means_(std::move(means)),
      step_limit_(firmware::kStepsPerSecond, firmware::kStepsPerSecond / 4),
      settled_limit_(firmware::kSettledPerSecond, firmware::kSettledPerSecond / 10) {
  for (const auto& trigger : configure.step_triggers()) least_[trigger.channel()] = trigger.least_code();
  step_limit_.begin(0);
  settled_limit_.begin(0);
}

void ChipSteps::step(Scan at, std::size_t channel, double delta_codes) {
  if (least_[channel] == 0 || std::abs(delta_codes) < least_[channel]) return;
  waiting_.push_back({at + kStampAfter, channel, delta_codes});
}

void ChipSteps::tell(Scan now, Events& out) {
  told_.clear();
  while (!waiting_.empty() && waiting_.front().at + kPatience <= now) {
    const Step step = waiting_.front();
    // Of two steps of a channel within reach of each other the greater is the peak; of equal ones the first.
    bool hidden = false;
    for (const Step& other : waiting_) {
      if (other.channel != step.channel || other.at == step.at || other.at > step.at + kReach) continue;
      hidden = hidden || std::abs(other.delta) > std::abs(step.delta);
    }
    waiting_.pop_front();
    if (!hidden) take(step, now, out);
    if (!hidden)
      std::erase_if(waiting_,
                    [&](const Step& other) { return other.channel == step.channel && other.at <= step.at + kReach; });
  }
  if (group_.id != 0 && now >= group_.last + kSettledAfter + kSettled + kGap + kPatience) {
    finish_group(group_.last + kSettledAfter, now, out);
  }
}

void ChipSteps::take(const Step& step, Scan now, Events& out) {
  const bool same = group_.id != 0 && step.at <= group_.first + kReach;
  if (same) {
    group_.first = std::min(group_.first, step.at);
    group_.last = std::max(group_.last, step.at);
  } else {
    open_group(step.at, now, out);
  }
  told_.push_back(step.at);
  if (!step_limit_.take(static_cast<std::uint64_t>(now))) return;
  proto::LoadStep& told = *out.emplace_back().mutable_load_step();
  told.set_channel(static_cast<std::uint32_t>(step.channel));
  told.set_scan(static_cast<std::uint64_t>(step.at));
  told.set_step_code_16(static_cast<std::int32_t>(std::lround(16 * step.delta)));
  told.set_t50_offset_256(static_cast<std::uint32_t>(256 * (128 + kHalfWay)));
  told.set_step_id(group_.id);
}

void ChipSteps::open_group(Scan at, Scan now, Events& out) {
  if (group_.id != 0) {
    const Scan guard = at - kGap;
    const Scan settled = group_.last + kSettledAfter;
    if (settled + kSettled <= guard) {
      finish_group(settled, now, out);
    } else if (group_.last + kFreeLeast <= guard) {
      finish_group(guard - kSettled, now, out);
    } else {
      group_.free_from = group_.last + kFreeLeast;
    }
  }
  group_.id = ++ids_;
  group_.first = group_.last = at;
}

void ChipSteps::finish_group(Scan after, Scan now, Events& out) {
  const Scan before_end = group_.first - kGap;
  const bool settled_before = before_end >= group_.free_from && before_end >= kSettled;
  if (settled_before && settled_limit_.take(static_cast<std::uint64_t>(now))) {
    proto::SettledMeans& told = *out.emplace_back().mutable_settled();
    told.set_step_id(group_.id);
    told.set_before_scan(static_cast<std::uint64_t>(before_end - kSettled));
    told.set_after_scan(static_cast<std::uint64_t>(after));
    std::array<std::int32_t, wire::kChannelCount> code_8;
    means_(before_end - kSettled, code_8);
    told.mutable_before_code_8()->Add(code_8.begin(), code_8.end());
    means_(after, code_8);
    told.mutable_after_code_8()->Add(code_8.begin(), code_8.end());
  }
  group_.free_from = group_.last + kFreeLeast;
  group_.id = 0;
}

bool ChipLimit::wants(std::int16_t least, std::int16_t most) const {
  return state_ != State::kIdle || beyond(low() ? least : most);
}

void ChipLimit::finish(std::vector<proto::Excursion>& ended) {
  state_ = State::kIdle;
  const bool kept = low() ? extreme_ <= armed_.keep_code() : extreme_ >= armed_.keep_code();
  if (!kept && end_ - start_ < static_cast<Scan>(armed_.least_scans())) return;
  proto::Excursion& told = ended.emplace_back();
  told.set_channel(armed_.channel());
  told.set_side(armed_.side());
  told.set_armed_set(set_);
  told.set_start_scan(static_cast<std::uint64_t>(start_));
  told.set_end_scan(static_cast<std::uint64_t>(end_));
  told.set_extreme_code(extreme_);
  told.set_extreme_scan(static_cast<std::uint64_t>(extreme_at_));
  told.set_area_code_scans(area_);
}

std::uint16_t ChipLimit::walk(Scan from, std::span<const std::int16_t> codes, std::vector<proto::Excursion>& ended) {
  std::uint16_t count = 0;
  for (std::size_t n = 0; n < codes.size(); ++n) {
    const Scan scan = from + static_cast<Scan>(n);
    const std::int32_t code = codes[n];
    const bool out = beyond(codes[n]);
    count += out ? 1 : 0;
    if (state_ == State::kWaiting && !out && scan - end_ > static_cast<Scan>(armed_.merge_scans())) finish(ended);
    if (state_ == State::kIdle && out) {
      start_ = scan;
      extreme_ = code;
      extreme_at_ = scan;
      area_ = 0;
    }
    if (out) {
      state_ = State::kInside;
      area_ += static_cast<std::uint64_t>(std::abs(code - armed_.code()));
      if (low() ? code < extreme_ : code > extreme_) {
        extreme_ = code;
        extreme_at_ = scan;
      }
    } else if (state_ == State::kInside && (low() ? code >= armed_.release_code() : code <= armed_.release_code())) {
      state_ = State::kWaiting;
      end_ = scan;
    }
  }
  return count;
}

ChipLimits::ChipLimits(const proto::Arm& arm, std::uint32_t events_per_s) : budget_(events_per_s, events_per_s) {
  for (const auto& limit : arm.limits()) limits_.emplace_back(limit, arm.set());
  storms_.resize(limits_.size());
  budget_.begin(0);
}

void ChipLimits::tell(std::size_t limit, const proto::Excursion& excursion, Scan now, Events& out) {
  ++told_;
  if (budget_.take(static_cast<std::uint64_t>(now))) {
    *out.emplace_back().mutable_excursion() = excursion;
    return;
  }
  proto::Storm& storm = storms_[limit];
  const bool first = storm.excursions() == 0;
  if (first) {
    storm.set_channel(excursion.channel());
    storm.set_side(excursion.side());
    storm.set_first_scan(excursion.start_scan());
  }
  storm.set_excursions(storm.excursions() + 1);
  storm.set_last_scan(excursion.end_scan() - 1);
  const bool deeper = excursion.side() == proto::SIDE_LOW ? excursion.extreme_code() < storm.extreme_code()
                                                          : excursion.extreme_code() > storm.extreme_code();
  if (first || deeper) storm.set_extreme_code(excursion.extreme_code());
  storm.set_scans_beyond(storm.scans_beyond() + excursion.end_scan() - excursion.start_scan());
}

void ChipLimits::tell_storms(Scan now, Events& out) {
  if (now - storms_told_ < static_cast<Scan>(kScansPerS)) return;
  storms_told_ = now;
  for (proto::Storm& storm : storms_) {
    if (storm.excursions() == 0) continue;
    *out.emplace_back().mutable_storm() = storm;
    storm.Clear();
  }
}

}  // namespace trial
