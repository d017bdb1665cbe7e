// SPDX-License-Identifier: Apache-2.0
#include "firmware/app/jig.h"

namespace firmware {

SplitJig::SplitJig(const Board& board, FastParts& fast, std::uint32_t numbered)
    : watchdog_(board.watchdog),
      fast_(fast),
      captures_(ring_, fast.health, numbered),
      telemetry_(board.transmitter, board.store, fast.health, fast.windows, captures_, numbered),
      acquisition_(
          fast.acquisition.emplace(board.store, fast.health, fast.windows, ring_, captures_, telemetry_, numbered)),
      outputs_(board.gates, board.ps_on, board.source, fast.health),
      sequencer_(outputs_, fast.health, telemetry_),
      supervisor_(board.mode_link, board.watch, fast.health, outputs_, sequencer_, acquisition_, telemetry_) {
  fast.commander.emplace(board.store, fast.health, outputs_, sequencer_, acquisition_, supervisor_, telemetry_);
}

void SplitJig::on_block(const ScanBlock& block) {
  watchdog_.feed();
  acquisition_.on_block(block);
  supervisor_.on_block(block);
  telemetry_.on_block();
}

void SplitJig::on_no_block() {
  watchdog_.feed();
  supervisor_.look();
}

bool SplitJig::on_byte(std::byte received) {
  const bool sound = fast_.receiver.push(received);
  fast_.health.frames_damaged = fast_.receiver.damaged() + fast_.receiver.overlong();
  if (sound) fast_.commander->handle(fast_.receiver.payload());
  return sound;
}

}  // namespace firmware
