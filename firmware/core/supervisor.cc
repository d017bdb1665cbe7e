// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/supervisor.h"

namespace firmware {

Supervisor::Supervisor(ModeLink& link, Health& health, Outputs& outputs, LoadSequencer& sequencer,
                       Acquisition& acquisition, Telemetry& telemetry)
    : link_(link),
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

void Supervisor::on_block() {
  const Mode mode = link_.read();
  if (mode != health_.mode) {
    trip(SafetyCause::kModeLinkMoved);
    health_.mode = mode;
  }
  const std::uint64_t silent_scans = health_.next_scan - heard_scan_;
  const bool active = health_.running || outputs_.any_on() || sequencer_.playing();
  if (health_.mode == Mode::kBench && active && health_.safety_cause == SafetyCause::kNone &&
      silent_scans >= std::uint64_t{host_silence_ms_} * kScansPerMillisecond) {
    trip(SafetyCause::kHostSilent);
  }
  if (health_.running && silent_scans >= std::uint64_t{kTelemetrySilenceMs} * kScansPerMillisecond) stop_run();
}

}  // namespace firmware
