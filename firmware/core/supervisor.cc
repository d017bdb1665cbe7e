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
      telemetry_(telemetry),
      stuck_(outputs, health) {
  health_.mode = link_.read();
}

void Supervisor::stop_run() {
  sequencer_.cancel();
  outputs_.gates_off();
  if (!health_.running) return;
  health_.running = false;
  acquisition_.end();
  telemetry_.say_last_status();
}

void Supervisor::acknowledge_cause() {
  health_.safety_cause = SafetyCause::kNone;
  health_.safety_detail.reset();
  over_range_.begin();
}

void Supervisor::trip(SafetyCause cause, std::optional<std::uint8_t> detail) {
  sequencer_.cancel();
  outputs_.all_off();
  health_.safety_cause = cause;
  health_.safety_detail = detail;
  telemetry_.say_status();
}

void Supervisor::trip_first(SafetyCause cause, std::optional<std::uint8_t> detail) {
  if (health_.safety_cause == SafetyCause::kNone) trip(cause, detail);
}

void Supervisor::look() {
  const Mode mode = link_.read();
  if (mode != health_.mode) {
    trip(SafetyCause::kModeLinkMoved);
    health_.mode = mode;
  }
  if (watch_ == nullptr) return;
  const Alarm alarm = watch_->alarm();
  if (alarm != Alarm::kNone) trip_first(static_cast<SafetyCause>(alarm));
  if (blocks_to_readings_ == 0) {
    health_.readings = watch_->readings();
    blocks_to_readings_ = kReadingsEveryBlocks;
    if (health_.readings.stack_free_bytes < kStackFreeLeastBytes) trip_first(SafetyCause::kStack);
  }
  --blocks_to_readings_;
}

void Supervisor::on_block(const ScanBlock& block) {
  look();
  if (const auto channel = over_range_.look(block, acquisition_.clipped_mask()))
    trip_first(SafetyCause::kOverRange, channel);
  sequencer_.note_heat();
  if (health_.mode == Mode::kBench) watch_loads(block);
  watch_host();
}

void Supervisor::watch_loads(const ScanBlock& block) {
  if (health_.safety_cause != SafetyCause::kNone) return;
  if (const auto gate = stuck_.look(block, acquisition_.sums(), sequencer_.bank())) {
    trip(SafetyCause::kLoadStuckOn, gate);
  } else if (const auto on = sequencer_.on_too_long()) {
    trip(SafetyCause::kOnTimeLimit, on);
  } else if (sequencer_.too_hot()) {
    trip(SafetyCause::kEnergyLimit);
  } else if (!sequencer_.on_block()) {
    trip(SafetyCause::kOverrun);
  }
}

void Supervisor::watch_host() {
  const std::uint64_t silent_scans = health_.next_scan - heard_scan_;
  const bool active = health_.running || outputs_.any_on() || sequencer_.playing();
  if (health_.mode == Mode::kBench && active &&
      silent_scans >= std::uint64_t{host_silence_ms_} * kScansPerMillisecond) {
    trip_first(SafetyCause::kHostSilent);
  }
  if (health_.running && silent_scans >= std::uint64_t{kTelemetrySilenceMs} * kScansPerMillisecond) stop_run();
}

}  // namespace firmware
