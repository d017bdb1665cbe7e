// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/qemu/replay.h"

#include <cstddef>

namespace firmware {

Replay::Replay(ReplayFile& scans, ReplayFile& commands, ReplayFile& frames, NonVolatileStore& store, Mode mode,
               ReplayMeter* meter)
    : scans_(scans),
      commands_(commands),
      frames_(frames),
      mode_(mode),
      meter_(meter),
      jig_({.transmitter = *this,
            .gates = *this,
            .ps_on = *this,
            .mode_link = *this,
            .watchdog = *this,
            .store = store}) {}

ReplayEnd Replay::run() {
  wire::ScanBlockHeader header;
  for (;;) {
    const std::size_t bytes = scans_.read(std::as_writable_bytes(std::span(&header, 1)));
    if (bytes == 0) break;
    if (bytes != sizeof header || header.magic != wire::kScanBlockMagic) return ReplayEnd::kBadScans;
    const ReplayEnd end = take_block(header);
    if (end != ReplayEnd::kComplete) return end;
  }
  if (!take_commands(UINT32_MAX) && commands_taken_ == 0) return ReplayEnd::kBadCommands;
  jig_.stop();
  budget_.set_unlimited(true);
  talk();
  return written_ ? ReplayEnd::kComplete : ReplayEnd::kNotWritten;
}

ReplayEnd Replay::take_block(const wire::ScanBlockHeader& header) {
  if (!take_commands(header.commands_expected)) return ReplayEnd::kBadCommands;
  if (!read_block(header)) return ReplayEnd::kBadScans;
  work_on_block();
  return written_ ? ReplayEnd::kComplete : ReplayEnd::kNotWritten;
}

bool Replay::read_block(const wire::ScanBlockHeader& header) {
  if (header.edge_count > wire::kScanEdgesMax) return false;
  if (scans_.read(std::as_writable_bytes(std::span(&block_.codes, 1))) != sizeof block_.codes) return false;
  for (std::size_t i = 0; i < header.edge_count; ++i) {
    wire::ScanEdge edge;
    if (scans_.read(std::as_writable_bytes(std::span(&edge, 1))) != sizeof edge) return false;
    block_.edges[i] = {.line = edge.line,
                       .high = edge.high != 0,
                       .offset_256 = static_cast<std::uint8_t>(edge.offset_256),
                       .scan = header.first_scan + edge.offset,
                       .pulse_ns = edge.pulse_ns};
  }
  block_.edge_count = header.edge_count;
  block_.first_scan = header.first_scan;
  block_.scans_lost = header.scans_lost;
  return true;
}

// Host frames up to number `expected`, each answered as the line would: at once outside a run. False when the file ends
// before.
bool Replay::take_commands(std::uint32_t expected) {
  while (commands_taken_ < expected) {
    std::byte received{};
    if (commands_.read(std::span(&received, 1)) != 1) return false;
    const bool was_running = jig_.running();
    if (!jig_.on_byte(received)) continue;
    ++commands_taken_;
    if (!was_running || !jig_.running()) {
      budget_.set_unlimited(true);
      talk();
    }
  }
  return true;
}

void Replay::work_on_block() {
  if (meter_ != nullptr) meter_->begin();
  jig_.on_block(block_);
  if (meter_ != nullptr) meter_->done(Work::kAcquiring);
  budget_.set_unlimited(!jig_.running());
  budget_.begin_block(jig_.line_bytes_per_s());
  while (jig_.pump()) {
    if (meter_ != nullptr) meter_->done(Work::kTalking);
  }
  if (meter_ != nullptr) meter_->end_block();
}

void Replay::talk() {
  while (jig_.pump()) {
  }
}

std::size_t Replay::room() const {
  return written_ ? budget_.room() : 0;
}

std::size_t Replay::try_write(std::span<const std::byte> bytes) {
  const std::span<const std::byte> taken = bytes.first(std::min(bytes.size(), room()));
  written_ = written_ && frames_.write(taken);
  budget_.spend(taken.size());
  return taken.size();
}

}  // namespace firmware
