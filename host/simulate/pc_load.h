// SPDX-License-Identifier: Apache-2.0
// What the PC draws from each tap, scan by scan: frames of a game, menus, processor bursts, drives and fans.
#pragma once

#include <array>
#include <cstdint>

#include "host/simulate/connectors.h"
#include "host/simulate/random.h"

namespace host::simulate {

using TapAmps = std::array<double, kTaps>;

enum class PcState {
  kOff,      // standby circuits only
  kReset,    // powered, held in reset
  kBoot,     // drives spin up, processor busy, no graphics
  kDesktop,  // quiet
  kMenu,     // graphics holds a level for some hundred milliseconds at a time
  kGame,     // frames
  kHung,     // locked up: nothing changes any more
};

struct PcLoadParameters {
  double graphics_scale = 1;  // of the frame levels (16-24 A on graphics-1)
  double processor_scale = 1;
  double excursion_chance = 0.05;  // per frame
  double excursion_factor = 2.2;   // of the frame's level, for half a millisecond
  double standby_amps = 0.6;       // of +5VSB, whatever the state
  double standby_burst_amps = 0;   // added at random, for 2 to 30 ms unless said otherwise
  double standby_burst_least_s = 0.002;
  double standby_burst_most_s = 0.03;
  double logic_5v_amps = 4;  // of +5 V, before bursts
};

class PcLoad {
 public:
  PcLoad(const PcLoadParameters& parameters, std::uint64_t seed);

  void enter(PcState state);
  PcState state() const { return state_; }
  /// A running PC moves by itself between desktop, menu and game.
  void set_roaming(bool roaming) { roaming_ = roaming; }
  /// Currents wanted at the end of the next scan. They move in straight lines within scans, and steps take three scans
  /// (94 us): slew is limited by the load's own regulators.
  const TapAmps& next_scan();

 private:
  struct Burst {  // on for a while, off for a while
    std::uint32_t left = 0;
    bool on = false;
    double amps = 0;
  };
  void update_scene();
  void roam();
  double graphics();
  double frame();
  double processor();
  double drive();
  double logic_burst(Burst& burst, double least, double most);
  double standby();
  TapAmps wanted();

  PcLoadParameters parameters_;
  Random random_;
  PcState state_ = PcState::kOff;
  bool roaming_ = true;
  std::uint64_t scan_ = 0;
  std::uint64_t entered_ = 0;   // scan at which the state began
  std::uint64_t leave_at_ = 0;  // scan at which a roaming PC moves on
  double scene_ = 0;            // common factor: deviation from 1, correlation time 2 s

  std::uint32_t frame_at_ = 0;  // scan within the frame
  std::uint32_t frame_scans_ = 0;
  std::uint32_t frame_busy_ = 0;
  std::uint32_t excursion_at_ = 0;
  bool excursion_ = false;
  double level_ = 0;  // graphics-1 current of this frame or menu level
  std::uint32_t level_left_ = 0;
  Burst processor_;
  Burst drive_;
  Burst logic_5v_;
  Burst logic_3v3_;
  Burst standby_{.left = 0, .on = true, .amps = 0};
  double fan_phase_ = 0;  // turns

  std::array<TapAmps, 3> recent_{};  // targets of the last three scans: their mean is the current
  TapAmps held_{};                   // what a hung PC keeps drawing
  TapAmps current_{};
};

}  // namespace host::simulate
