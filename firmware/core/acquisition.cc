// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/acquisition.h"

#include <algorithm>

namespace firmware {

Acquisition::Acquisition(const NonVolatileStore& store, Health& health, WindowAccumulator& windows, CaptureRing& ring,
                         CaptureStore& captures, Telemetry& telemetry, std::uint32_t numbered)
    : health_(health),
      windows_(windows),
      ring_(ring),
      captures_(captures),
      excursions_(telemetry, captures, health),
      steps_(ring, captures, telemetry, health, numbered),
      crossings_(telemetry, health),
      edges_(store, captures, telemetry, health),
      ramps_(ring, telemetry, numbered),
      raw_(telemetry, scratch_) {}

void Acquisition::begin(const Settings& settings, const ArmedSet& armed) {
  const std::uint64_t first_scan = health_.next_scan;
  armed_ = &armed;
  windows_.begin(settings.scans_per_window, armed.set);
  ring_.begin(first_scan);
  captures_.begin(settings);
  excursions_.begin(armed, settings.events_per_s, first_scan);
  steps_.begin(settings, first_scan);
  crossings_.begin(armed, first_scan);
  edges_.begin(first_scan);
  ramps_.begin(settings);
  sums_.scans = 0;  // the latest block was another run's
}

void Acquisition::end() {
  if (armed_ == nullptr) return;
  close_stretch();
  excursions_.end(health_.next_scan);
  steps_.end(health_.next_scan);
  raw_.select(0);
  armed_ = nullptr;
}

bool Acquisition::within(std::span<const std::int32_t> least, std::span<const std::int32_t> most) const {
  if (sums_.scans == 0) return false;  // nothing is known before the first block
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    if (sums_.channels[c].min < least[c] || sums_.channels[c].max > most[c]) return false;
  }
  return true;
}

void Acquisition::on_block(const ScanBlock& block) {
  if (block.first_scan != health_.next_scan) {
    const std::uint64_t lost = block.first_scan - health_.next_scan;
    count_up(health_.scans_lost, static_cast<std::uint32_t>(std::min<std::uint64_t>(lost, UINT32_MAX)));
    close_stretch();
    ring_.begin(block.first_scan);
    steps_.resume(block.first_scan);
    crossings_.resume();
  }
  health_.next_scan = block.first_scan + wire::kScansPerBlock;
  if (armed_ == nullptr) {
    edges_.on_block(block, false);
    return;
  }
  ring_.add(block);
  reduce(block.codes, armed_->counts, sums_);
  health_.clipped_mask |= sums_.clipped_mask;
  windows_.add(block.first_scan, sums_);
  excursions_.on_block(block, sums_);
  steps_.on_block(block, sums_);
  crossings_.on_block(block, sums_, ramps_);
  ramps_.on_block();
  edges_.on_block(block, true);
  raw_.on_block(block);
}

void Acquisition::close_stretch() {
  if (armed_ == nullptr) return;
  windows_.flush();
  excursions_.close(health_.next_scan);
  captures_.close();
  ramps_.close();
}

}  // namespace firmware
