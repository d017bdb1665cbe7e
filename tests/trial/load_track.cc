// SPDX-License-Identifier: Apache-2.0
// Levels and times as in the rehearsal's PC (own engineering choices there, restated here: neither includes the other's
// inside). What a session adds, light use between games and a pause after a lock-up, is common practice, no source.
#include "tests/trial/load_track.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

namespace trial {
namespace {

constexpr Scan kNever = std::numeric_limits<Scan>::max();
constexpr double kBootS = 1.0;
constexpr double kOffS = 1.0;
constexpr double kSceneS = 2;

}  // namespace

LoadTrack::LoadTrack(const TrackParameters& parameters, std::uint64_t seed, Tell tell)
    : parameters_(parameters), random_(seed, 22), tell_(std::move(tell)) {
  due_.fill(kNever);
  patience_ = scans_of(random_.uniform(3, 5));
  levels_ = {parameters_.idle_a,           parameters_.processor_a, 0.5, parameters_.load.logic_5v_amps, 4,
             parameters_.load.standby_amps};
  on_[kStandbyClock] = true;
  due_[kDriveClock] = due_[k5vClock] = due_[k3v3Clock] = 0;
  if (parameters_.load.standby_burst_amps != 0) due_[kStandbyClock] = 0;
  if (!parameters_.roams) plan(0, random_.chance(0.5));
  const double surges = parameters_.surges_heavy_per_h + parameters_.surges_light_per_h;
  if (surges > 0) due_[kSurge] = scans_of(random_.exponential_of_mean(3600 / surges));
  if (parameters_.freeze_every_s > 0) {
    due_[kFreeze] = scans_of(random_.exponential_of_mean(parameters_.freeze_every_s));
  }
  enter(PcState::kDesktop, 0);
}

bool LoadTrack::works() const {
  return state_ == PcState::kDesktop || state_ == PcState::kMenu || state_ == PcState::kGame;
}

void LoadTrack::advance(Scan until) {
  for (;;) {
    const auto next = std::ranges::min_element(due_);
    if (*next >= until) return;
    const Scan now = *next;
    *next = kNever;
    fire(static_cast<std::size_t>(next - due_.begin()), now);
  }
}

void LoadTrack::fire(std::size_t clock, Scan now) {
  switch (clock) {
    case kGraphicsClock:
      return graphics(now);
    case kProcessorClock:
      return processor(now);
    case kDriveClock:
      return drive(now);
    case k5vClock:
      return logic(now, k5vClock, kLogic5v, parameters_.load.logic_5v_amps);
    case k3v3Clock:
      return logic(now, k3v3Clock, kLogic3v3, 4);
    case kStandbyClock:
      return standby(now);
    case kLeave:
      return leave(now);
    case kPlan:
      return plan(now, !heavy_);
    case kSurge:
      return surge(now);
    case kFreeze: {
      due_[kFreeze] = now + scans_of(random_.exponential_of_mean(parameters_.freeze_every_s));
      const bool at_risk = parameters_.roams ? works() : heavy_ && works();
      if (at_risk) hang(now, true);
      return;
    }
    case kMarker:
      presses_.push_back(now);
      return;
    case kReset:
      if (state_ == PcState::kHung) enter(PcState::kBoot, now);
      return;
    case kSwitch:
      wants_on_ = true;
      return;
    default:
      return;
  }
}

void LoadTrack::set(Scan now, Source source, double amps) {
  if (levels_[source] == amps) return;
  levels_[source] = amps;
  tell_(now, source, amps);
}

double LoadTrack::scene(Scan now) {
  const double kept = std::exp(-static_cast<double>(now - scene_at_) / kScansPerS / kSceneS);
  scene_ = kept * scene_ + std::sqrt(1 - kept * kept) * parameters_.scene_deviation * random_.normal();
  scene_at_ = now;
  return scene_;
}

void LoadTrack::enter(PcState state, Scan now) {
  const bool was_held = state_ == PcState::kHung;
  state_ = state;
  due_[kLeave] = kNever;
  due_[kGraphicsClock] = kNever;
  if (state == PcState::kHung) {  // nothing changes any more but what hangs on standby
    for (const std::size_t clock : {kProcessorClock, kDriveClock, k5vClock, k3v3Clock}) due_[clock] = kNever;
    return;
  }
  if (was_held || due_[kDriveClock] == kNever) {
    for (const std::size_t clock : {kDriveClock, k5vClock, k3v3Clock}) due_[clock] = now;
  }
  on_[kProcessorClock] = false;
  due_[kProcessorClock] = now;
  switch (state) {
    case PcState::kDesktop:
      due_[kLeave] = now + scans_of(random_.uniform(0.4, 1.2));
      set(now, kGraphics, parameters_.idle_a);
      break;
    case PcState::kMenu:
      due_[kLeave] = now + scans_of(random_.uniform(1.5, 4));
      due_[kGraphicsClock] = now;
      break;
    case PcState::kGame:
      due_[kLeave] = now + scans_of(random_.uniform(2, 5));
      frame_phase_ = 0;
      due_[kGraphicsClock] = now;
      break;
    case PcState::kBoot:
      due_[kLeave] = now + scans_of(kBootS);
      set(now, kGraphics, 1.5);
      break;
    default:
      set(now, kGraphics, 1.5);
  }
}

void LoadTrack::leave(Scan now) {
  if (state_ == PcState::kBoot) return enter(PcState::kDesktop, now);
  const bool plays = parameters_.roams || heavy_;
  if (state_ == PcState::kGame)
    return enter(random_.chance(parameters_.menu_chance) ? PcState::kMenu : PcState::kDesktop, now);
  enter(plays ? PcState::kGame : PcState::kDesktop, now);
}

void LoadTrack::plan(Scan now, bool heavy) {
  heavy_ = heavy;
  const TrackParameters& p = parameters_;
  due_[kPlan] = now + scans_of(heavy ? random_.uniform(p.heavy_least_s, p.heavy_most_s)
                                     : random_.uniform(p.light_least_s, p.light_most_s));
}

void LoadTrack::hang(Scan now, bool own) {
  lock_ups_.push_back({now, own});
  enter(PcState::kHung, now);
  due_[kMarker] = now + scans_of(random_.uniform(2, 4));
  due_[kReset] = due_[kMarker] + scans_of(random_.uniform(1.5, 3));
  if (!parameters_.roams) plan(now, false);  // nobody plays on at once
}

void LoadTrack::stretch_below(Scan now) {
  if (works() && random_.chance(parameters_.hang_chance)) hang(now, false);
}

void LoadTrack::graphics(Scan now) {
  if (state_ == PcState::kGame) return frame(now);
  if (state_ != PcState::kMenu) return;
  constexpr std::array<double, 7> kLevels = {5, 7.5, 10, 12.5, 15, 18, 21};
  set(now, kGraphics, kLevels[random_.bits() % kLevels.size()] * parameters_.load.graphics_scale);
  due_[kGraphicsClock] = now + scans_of(random_.uniform(0.1, 0.35));
}

// A frame: busy with its level, in some of them a short peak, then idle until the next.
void LoadTrack::frame(Scan now) {
  const TrackParameters& p = parameters_;
  const Scan peak_at = frame_begin_ + static_cast<Scan>(static_cast<double>(frame_busy_) * 0.3);
  switch (frame_phase_) {
    case 0: {
      frame_begin_ = now;
      frame_scans_ = scans_of(random_.uniform(0.9, 1.15) / p.frame_hz);
      frame_busy_ = static_cast<Scan>(static_cast<double>(frame_scans_) * random_.uniform(p.busy_least, p.busy_most));
      const double scale = p.load.graphics_scale;
      level_ = random_.uniform(p.level_least_a, p.level_most_a) * std::clamp(1 + scene(now), 0.8, 1.2) * scale;
      level_ = std::clamp(level_, p.level_least_a * scale, p.level_most_a * scale);
      excursion_ = random_.chance(p.load.excursion_chance);
      set(now, kGraphics, level_);
      frame_phase_ = excursion_ ? 1 : 3;
      due_[kGraphicsClock] =
          excursion_ ? now + static_cast<Scan>(static_cast<double>(frame_busy_) * 0.3) : now + frame_busy_;
      return;
    }
    case 1:
      set(now, kGraphics, level_ * p.load.excursion_factor);
      frame_phase_ = 2;
      due_[kGraphicsClock] = peak_at + scans_of(p.excursion_s);
      return;
    case 2:
      set(now, kGraphics, level_);
      frame_phase_ = 3;
      due_[kGraphicsClock] = frame_begin_ + frame_busy_;
      return;
    default:
      set(now, kGraphics, p.idle_a);
      frame_phase_ = 0;
      due_[kGraphicsClock] = frame_begin_ + frame_scans_;
  }
}

void LoadTrack::processor(Scan now) {
  const TrackParameters& p = parameters_;
  const bool busy = state_ == PcState::kGame || state_ == PcState::kBoot;
  bool& on = on_[kProcessorClock];
  on = !on;
  due_[kProcessorClock] = now + scans_of(on     ? random_.uniform(0.004, 0.02)
                                         : busy ? random_.uniform(0.01, 0.04)
                                                : random_.uniform(0.1, 0.6));
  const double amps =
      random_.uniform(p.burst_least_a, p.burst_most_a) * std::clamp(1 + scene(now), 0.9, 1.1) * p.load.processor_scale;
  set(now, kProcessor, on ? amps : p.processor_a);
}

double LoadTrack::drive_amps() const {
  return drive_a_ + surge_now_a_;
}

void LoadTrack::drive(Scan now) {
  bool& on = on_[kDriveClock];
  on = !on;
  drive_a_ = state_ == PcState::kBoot ? 2 : on ? 1.2 : 0.5;
  due_[kDriveClock] = now + (on ? scans_of(0.02) : scans_of(random_.uniform(0.1, 0.8)));
  set(now, kDrive, drive_amps());
}

void LoadTrack::logic(Scan now, std::size_t clock, Source source, double base) {
  bool& on = on_[clock];
  on = !on;
  due_[clock] = now + scans_of(on ? random_.uniform(0.005, 0.03) : random_.uniform(0.02, 0.3));
  const double amps = random_.uniform(1, 3);
  set(now, source, on ? base + amps : base);
}

void LoadTrack::standby(Scan now) {
  const TrackParameters& p = parameters_;
  if (state_ == PcState::kOff) {
    due_[kStandbyClock] = now + scans_of(0.1);
    return set(now, kStandby, p.load.standby_amps);
  }
  bool& on = on_[kStandbyClock];
  on = !on;
  due_[kStandbyClock] = now + scans_of(on ? random_.uniform(p.load.standby_burst_least_s, p.load.standby_burst_most_s)
                                          : random_.uniform(p.standby_pause_least_s, p.standby_pause_most_s));
  set(now, kStandby, p.load.standby_amps + (on ? p.load.standby_burst_amps : 0));
}

// Thinned from a process of the greater rate.
void LoadTrack::surge(Scan now) {
  const TrackParameters& p = parameters_;
  if (surge_now_a_ > 0) {
    surge_now_a_ = 0;
    set(now, kDrive, drive_amps());
  } else {
    const double rate = heavy_ ? p.surges_heavy_per_h : p.surges_light_per_h;
    if (works() && random_.chance(rate / (p.surges_heavy_per_h + p.surges_light_per_h))) {
      surge_now_a_ = p.surge_a * random_.uniform(0.8, 1.2);
      set(now, kDrive, drive_amps());
      due_[kSurge] = now + scans_of(p.surge_s * random_.uniform(0.5, 1.5));
      return;
    }
  }
  due_[kSurge] = now + scans_of(random_.exponential_of_mean(3600 / (p.surges_heavy_per_h + p.surges_light_per_h)));
}

void LoadTrack::power(Scan now, bool power_good, double standby_v, Scan scans) {
  const Scan dead_after = scans_of(5e-3);
  const Scan alive_after = scans_of(0.2);
  const bool contradicts = standby_alive_ ? standby_v < 4.0 : standby_v > 4.6;
  standby_held_ = contradicts ? standby_held_ + scans : 0;
  if (standby_held_ > (standby_alive_ ? dead_after : alive_after)) {
    standby_alive_ = !standby_alive_;
    standby_held_ = 0;
    wants_on_ = false;
    due_[kSwitch] = standby_alive_ ? now + scans_of(random_.uniform(1, 2)) : kNever;
  }
  if (power_good) {
    without_power_ = 0;
    if (state_ == PcState::kOff || state_ == PcState::kReset) enter(PcState::kBoot, now);
    return;
  }
  if (state_ != PcState::kOff) {
    const PcState to = wants_on_ ? PcState::kReset : PcState::kOff;
    if (state_ != to) {
      if (!parameters_.roams) plan(now, false);
      enter(to, now);
    }
  }
  without_power_ = wants_on_ ? without_power_ + scans : 0;
  if (without_power_ > patience_) {  // latched off: the person cycles the power key
    without_power_ = 0;
    wants_on_ = false;
    enter(PcState::kOff, now);
    due_[kSwitch] = now + scans_of(kOffS);
  }
}

}  // namespace trial
