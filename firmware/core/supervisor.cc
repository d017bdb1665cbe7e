// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/supervisor.h"

namespace firmware {

Supervisor::Supervisor(ModeLink& link, BoardWatch* watch, Health& health, Outputs& outputs, LoadSequencer& sequencer,
                       Acquisition& acquisition, Telemetry& telemetry)
    : link_(link),
      watch_(watch),
      health_(health),
      outputs_(outputs),
      sequencer_(sequencer),
      acquisition_(acquisition),
      telemetry_(telemetry) {
  health_.mode = link_.read();
}

void Supervisor::stop_run() {
  sequencer_.cancel();
  if (health_.gates != 0 && !outputs_.set_gates(0, health_.next_scan)) outputs_.all_off();
  if (!health_.running) return;
  health_.running = false;
  acquisition_.end();
  telemetry_.say_last_status();
}

void Supervisor::trip(SafetyCause cause) {
  sequencer_.cancel();
  outputs_.all_off();
  health_.safety_cause = cause;
  telemetry_.say_status();
}

void Supervisor::look() {
  const Mode mode = link_.read();
  if (mode != health_.mode) {
    trip(SafetyCause::kModeLinkMoved);
    health_.mode = mode;
  }
  if (watch_ == nullptr) return;
  const Alarm alarm = watch_->alarm();
  if (alarm != Alarm::kNone && health_.safety_cause == SafetyCause::kNone) trip(static_cast<SafetyCause>(alarm));
  if (blocks_to_readings_ == 0) {
    health_.readings = watch_->readings();
    blocks_to_readings_ = kReadingsEveryBlocks;
  }
  --blocks_to_readings_;
}

void Supervisor::on_block() {
  look();
  const std::uint64_t silent_scans = health_.next_scan - heard_scan_;
  const bool active = health_.running || outputs_.any_on() || sequencer_.playing();
  if (health_.mode == Mode::kBench && active && health_.safety_cause == SafetyCause::kNone &&
      silent_scans >= std::uint64_t{host_silence_ms_} * kScansPerMillisecond) {
    trip(SafetyCause::kHostSilent);
  }
  if (health_.running && silent_scans >= std::uint64_t{kTelemetrySilenceMs} * kScansPerMillisecond) stop_run();
}

}  // namespace firmware
