// SPDX-License-Identifier: Apache-2.0
// Levels and times are own engineering choices; that short peaks reach two to three times the level for under a
// millisecond is common practice without a source.
#include "host/simulate/pc_load.h"

#include <algorithm>

namespace host::simulate {
namespace {

constexpr double kScansPerS = 32000;

std::uint32_t scans(double seconds) {
  return static_cast<std::uint32_t>(seconds * kScansPerS);
}

bool running(PcState state) {
  return state == PcState::kDesktop || state == PcState::kMenu || state == PcState::kGame;
}

}  // namespace

PcLoad::PcLoad(const PcLoadParameters& parameters, std::uint64_t seed) : parameters_(parameters), random_(seed, 2) {}

void PcLoad::enter(PcState state) {
  if (state == PcState::kHung) held_ = current_;
  state_ = state;
  entered_ = scan_;
  frame_at_ = frame_scans_ = level_left_ = 0;
  switch (state) {
    case PcState::kDesktop:
      leave_at_ = scan_ + scans(random_.uniform(0.4, 1.2));
      break;
    case PcState::kMenu:
      leave_at_ = scan_ + scans(random_.uniform(1.5, 4));
      break;
    default:
      leave_at_ = scan_ + scans(random_.uniform(2, 5));
  }
}

void PcLoad::update_scene() {
  constexpr std::uint64_t kInterval = 32;     // scans: 1 ms
  constexpr double kKept = 0.99950012497917;  // exp(-1 ms / 2 s)
  constexpr double kStirred = 0.03161485;     // sqrt(1 - kept^2): unit variance in the long run
  constexpr double kDeviation = 0.06;
  if (scan_ % kInterval == 0) scene_ = kKept * scene_ + kStirred * kDeviation * random_.normal();
}

void PcLoad::roam() {
  if (!roaming_ || !running(state_) || scan_ < leave_at_) return;
  if (state_ == PcState::kGame) {
    enter(random_.chance(0.7) ? PcState::kMenu : PcState::kDesktop);
  } else {
    enter(PcState::kGame);
  }
}

double PcLoad::frame() {
  constexpr double kIdleAmps = 5;
  if (frame_at_ >= frame_scans_) {
    frame_at_ = 0;
    frame_scans_ = scans(random_.uniform(0.9, 1.15) / 90);
    frame_busy_ = static_cast<std::uint32_t>(frame_scans_ * random_.uniform(0.45, 0.65));
    level_ = random_.uniform(16, 24) * std::clamp(1 + scene_, 0.8, 1.2) * parameters_.graphics_scale;
    level_ = std::clamp(level_, 16 * parameters_.graphics_scale, 24 * parameters_.graphics_scale);
    excursion_ = random_.chance(parameters_.excursion_chance);
    excursion_at_ = static_cast<std::uint32_t>(frame_busy_ * 0.3);
  }
  const std::uint32_t at = frame_at_++;
  if (at >= frame_busy_) return kIdleAmps;
  const bool peak = excursion_ && at >= excursion_at_ && at < excursion_at_ + scans(0.5e-3);
  return peak ? level_ * parameters_.excursion_factor : level_;
}

double PcLoad::graphics() {
  switch (state_) {
    case PcState::kGame:
      return frame();
    case PcState::kMenu:
      if (level_left_ == 0) {
        constexpr std::array<double, 7> kLevels = {5, 7.5, 10, 12.5, 15, 18, 21};
        level_ = kLevels[random_.bits() % kLevels.size()] * parameters_.graphics_scale;
        level_left_ = scans(random_.uniform(0.1, 0.35));
      }
      --level_left_;
      return level_;
    case PcState::kDesktop:
      return 5;
    default:
      return 1.5;
  }
}

double PcLoad::processor() {
  constexpr double kBaseAmps = 6;
  if (processor_.left == 0) {
    // A menu or desktop leaves the processor quiet for long enough that everything settles.
    const bool busy = state_ == PcState::kGame || state_ == PcState::kBoot;
    processor_.on = !processor_.on;
    processor_.left = scans(processor_.on ? random_.uniform(0.004, 0.02)
                                          : (busy ? random_.uniform(0.01, 0.04) : random_.uniform(0.1, 0.6)));
    processor_.amps = random_.uniform(10, 15) * std::clamp(1 + scene_, 0.9, 1.1) * parameters_.processor_scale;
  }
  --processor_.left;
  return processor_.on ? processor_.amps : kBaseAmps;
}

double PcLoad::drive() {
  if (state_ == PcState::kBoot && scan_ - entered_ < scans(3)) return 2;  // spinning up
  if (drive_.left == 0) {
    drive_.on = !drive_.on;
    drive_.left = drive_.on ? scans(0.02) : scans(random_.uniform(0.1, 0.8));
  }
  --drive_.left;
  return drive_.on ? 1.2 : 0.5;
}

double PcLoad::logic_burst(Burst& burst, double least, double most) {
  if (burst.left == 0) {
    burst.on = !burst.on;
    burst.left = scans(burst.on ? random_.uniform(0.005, 0.03) : random_.uniform(0.02, 0.3));
    burst.amps = random_.uniform(least, most);
  }
  --burst.left;
  return burst.on ? burst.amps : 0;
}

double PcLoad::standby() {
  if (parameters_.standby_burst_amps == 0 || state_ == PcState::kOff) return parameters_.standby_amps;
  if (standby_.left == 0) {
    standby_.on = !standby_.on;
    standby_.left =
        scans(standby_.on ? random_.uniform(parameters_.standby_burst_least_s, parameters_.standby_burst_most_s)
                          : random_.uniform(0.3, 1.2));
  }
  --standby_.left;
  return parameters_.standby_amps + (standby_.on ? parameters_.standby_burst_amps : 0);
}

TapAmps PcLoad::wanted() {
  TapAmps amps{};
  amps[k5SbMain] = standby();
  if (state_ == PcState::kOff) {  // bleeders and leakage; the currents follow the voltage down
    amps[k12Main] = 0.4;
    amps[k5Main] = 0.5;
    amps[k3v3Main] = 0.5;
    amps[kM12Main] = 0.03;
    return amps;
  }
  const double graphics_amps = graphics();
  amps[k12Graphics1] = graphics_amps;
  amps[k12Graphics2] = 0.8 + 0.04 * graphics_amps;  // a second, small card that helps with the same frames
  amps[k12Graphics3] = 0.5 + 0.02 * graphics_amps;
  const double processor_amps = processor();
  amps[k12Processor1] = 0.6 * processor_amps;
  amps[k12Processor2] = 0.4 * processor_amps;
  fan_phase_ += 180 / kScansPerS;  // commutation
  if (fan_phase_ >= 1) fan_phase_ -= 1;
  amps[k12Main] = 1.5 + (fan_phase_ < 0.5 ? 0.21 : 0.19);
  const double drive_amps = drive();
  amps[k12Peripheral] = drive_amps;
  amps[k5Peripheral] = 0.3 + 0.3 * drive_amps;
  amps[k5Main] = parameters_.logic_5v_amps + logic_burst(logic_5v_, 1, 3);
  amps[k3v3Main] = 4 + logic_burst(logic_3v3_, 1, 3);
  amps[kM12Main] = 0.05;
  return amps;
}

const TapAmps& PcLoad::next_scan() {
  update_scene();
  roam();
  recent_[scan_ % recent_.size()] = state_ == PcState::kHung ? held_ : wanted();
  if (scan_ == 0) recent_.fill(recent_[0]);
  ++scan_;
  for (std::size_t i = 0; i < kTaps; ++i) current_[i] = (recent_[0][i] + recent_[1][i] + recent_[2][i]) / 3;
  return current_;
}

}  // namespace host::simulate
