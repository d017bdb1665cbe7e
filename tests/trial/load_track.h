// SPDX-License-Identifier: Apache-2.0
// What the PC of a trial draws, change by change, and the person in front of it: light use and games, lock-ups, marker,
// reset, power key. With `roams` it does what the rehearsal's PC does, with the same distributions.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <vector>

#include "host/simulate/pc_load.h"
#include "host/simulate/random.h"
#include "tests/trial/sources.h"

namespace trial {

struct TrackParameters {
  host::simulate::PcLoadParameters load;
  double frame_hz = 90;
  double level_least_a = 16;  // of graphics-1 in a frame, before the scale
  double level_most_a = 24;
  double idle_a = 5;
  double busy_least = 0.45;  // share of a frame
  double busy_most = 0.65;
  double excursion_s = 0.5e-3;
  double scene_deviation = 0.06;
  double processor_a = 6;
  double burst_least_a = 10;
  double burst_most_a = 15;
  double standby_pause_least_s = 0.3;
  double standby_pause_most_s = 1.2;
  double menu_chance = 0.7;  // after a game; else the desktop

  // A session of a customer: light use with games between. Off: it roams all the time.
  bool roams = true;
  double light_least_s = 120;
  double light_most_s = 480;
  double heavy_least_s = 90;
  double heavy_most_s = 240;

  // Draws of the peripheral plug that no current channel sees; they come with the games, whatever locks up.
  double surges_heavy_per_h = 0;
  double surges_light_per_h = 0;
  double surge_a = 0;
  double surge_s = 0.15;

  double freeze_every_s = 0;  // mean time between lock-ups of the PC's own making, of use (roaming) or of games
  double hang_below_v = 11.0;
  double hang_chance = 0.02;
};

struct LockUp {
  Scan at = 0;
  bool own = false;  // of the PC's own making
};

class LoadTrack {
 public:
  /// Is told of each change of a source: the scan after which it begins, and its new level.
  using Tell = std::function<void(Scan at, Source source, double amps)>;

  LoadTrack(const TrackParameters& parameters, std::uint64_t seed, Tell tell);

  /// Everything that happens before `until`.
  void advance(Scan until);
  /// What the board sees, after `scans` of it. A PC that loses PWR_OK resets; one without standby is dead.
  void power(Scan now, bool power_good, double standby_v, Scan scans);
  /// The volts across a load went below what it can stand: it may lock up.
  void stretch_below(Scan now);

  bool ps_on_low() const { return wants_on_; }
  bool off() const { return state_ == host::simulate::PcState::kOff; }
  bool works() const;
  double hang_below_v() const { return parameters_.hang_below_v; }
  const Levels& levels() const { return levels_; }
  const std::vector<LockUp>& lock_ups() const { return lock_ups_; }
  const std::vector<Scan>& presses() const { return presses_; }  // of the marker

 private:
  using PcState = host::simulate::PcState;
  enum Clock : std::size_t {
    kGraphicsClock,
    kProcessorClock,
    kDriveClock,
    k5vClock,
    k3v3Clock,
    kStandbyClock,
    kLeave,
    kPlan,
    kSurge,
    kFreeze,
    kMarker,
    kReset,
    kSwitch,
    kClocks
  };

  void enter(PcState state, Scan now);
  void restart_sources(Scan now);
  void fire(std::size_t clock, Scan now);
  void leave(Scan now);
  void plan(Scan now, bool heavy);
  void hang(Scan now, bool own);
  void graphics(Scan now);
  void frame(Scan now);
  void processor(Scan now);
  void drive(Scan now);
  void logic(Scan now, std::size_t clock, Source source, double base);
  void standby(Scan now);
  void surge(Scan now);
  void set(Scan now, Source source, double amps);
  double scene(Scan now);
  double drive_amps() const;

  TrackParameters parameters_;
  host::simulate::Random random_;
  Tell tell_;
  std::array<Scan, kClocks> due_{};
  Levels levels_{};
  PcState state_ = PcState::kDesktop;
  bool heavy_ = false;
  double scene_ = 0;
  Scan scene_at_ = 0;
  int frame_phase_ = 0;
  Scan frame_begin_ = 0;
  Scan frame_scans_ = 0;
  Scan frame_busy_ = 0;
  bool excursion_ = false;
  double level_ = 0;
  std::array<bool, kClocks> on_{};
  double drive_a_ = 0.5;
  double surge_now_a_ = 0;
  bool wants_on_ = true;
  bool standby_alive_ = true;
  Scan standby_held_ = 0;
  Scan without_power_ = 0;
  Scan patience_ = 0;
  std::vector<LockUp> lock_ups_;
  std::vector<Scan> presses_;
};

}  // namespace trial
