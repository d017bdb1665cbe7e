// SPDX-License-Identifier: Apache-2.0
#include "firmware/app/jig.h"

namespace firmware {

Jig::Jig(const Board& board, std::uint32_t sequence)
    : watchdog_(board.watchdog),
      windows_(health_),
      captures_(ring_, health_),
      telemetry_(board.transmitter, board.store, health_, windows_, captures_, sequence),
      acquisition_(board.store, health_, windows_, ring_, captures_, telemetry_),
      outputs_(board.gates, board.ps_on, health_),
      sequencer_(outputs_, health_, telemetry_),
      supervisor_(board.mode_link, health_, outputs_, sequencer_, acquisition_, telemetry_),
      commander_(health_, outputs_, sequencer_, acquisition_, supervisor_, telemetry_) {}

void Jig::on_block(const ScanBlock& block) {
  watchdog_.feed();
  acquisition_.on_block(block);
  supervisor_.on_block();
  sequencer_.on_block();
  telemetry_.on_block();
}

bool Jig::on_byte(std::byte received) {
  const bool sound = receiver_.push(received);
  health_.frames_damaged = receiver_.damaged() + receiver_.overlong();
  if (sound) commander_.handle(receiver_.payload());
  return sound;
}

}  // namespace firmware
