// SPDX-License-Identifier: Apache-2.0
// One jig: the core wired to a board. Built once, before the first scan; nothing is allocated afterwards.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "firmware/core/acquisition.h"
#include "firmware/core/commander.h"
#include "firmware/core/health.h"
#include "firmware/core/load_sequencer.h"
#include "firmware/core/outputs.h"
#include "firmware/core/supervisor.h"
#include "firmware/core/telemetry.h"
#include "firmware/core/window_accumulator.h"
#include "firmware/hal/board_watch.h"
#include "firmware/hal/nonvolatile_store.h"
#include "firmware/hal/outputs.h"
#include "firmware/hal/scan_source.h"
#include "firmware/hal/serial.h"
#include "proto/wire/frame.h"

namespace firmware {

/// Longest command payload, rounded up.
inline constexpr std::size_t kCommandBytesMax = 2752;
static_assert(kCommandBytesMax >= steadyrail_proto_HostToJig_size);

/// The parts of a board; they outlive the jig.
struct Board {
  SerialTransmitter& transmitter;
  LoadGates& gates;
  PsOnDriver& ps_on;
  ModeLink& mode_link;
  Watchdog& watchdog;
  NonVolatileStore& store;
  BoardWatch* watch = nullptr;   // none: a board without alarms of its own
  TestSource* source = nullptr;  // none: no self-test
};

/// What is worked on for every scan, apart from the big stores: a board may keep it in memory of its own.
struct FastParts {
  Health health{};
  WindowAccumulator windows{health};
  std::optional<Acquisition> acquisition;
  std::optional<Commander> commander;
  wire::FrameReceiver<kCommandBytesMax> receiver{};
};

/// A jig whose fast parts lie elsewhere.
class SplitJig {
 public:
  /// `fast` belongs to this jig alone. Frames, captures and steps are numbered from `numbered` + 1 on.
  SplitJig(const Board& board, FastParts& fast, std::uint32_t numbered = 0);

  /// Takes the next 32 scans. Never waits.
  void on_block(const ScanBlock& block);

  /// Instead of a block, while none come: looks at the keyed link and the board's alarms.
  void on_no_block();

  /// Takes one byte from the host. True when it completed a sound frame, which has then been handled.
  bool on_byte(std::byte received);

  /// One step of talking, or of packing a capture while the line is busy; false when nothing can be done now.
  bool pump() { return telemetry_.pump() || captures_.pack_step(); }

  /// Ends a run as Stop does; for a board whose scans have come to their end.
  void stop() { supervisor_.stop_run(); }

  bool running() const { return fast_.health.running; }
  bool drained() { return telemetry_.drained(); }
  const Health& health() const { return fast_.health; }
  std::uint32_t line_bytes_per_s() const { return telemetry_.line_bytes_per_s(); }

 private:
  Watchdog& watchdog_;
  FastParts& fast_;
  CaptureRing ring_;
  CaptureStore captures_;
  Telemetry telemetry_;
  Acquisition& acquisition_;
  Outputs outputs_;
  LoadSequencer sequencer_;
  Supervisor supervisor_;
};

/// A base, because it must be there before the jig that uses it.
struct FastPartsHeld {
  FastParts fast_parts;
};

/// A jig in one piece.
class Jig : private FastPartsHeld, public SplitJig {
 public:
  explicit Jig(const Board& board, std::uint32_t numbered = 0) : SplitJig(board, fast_parts, numbered) {}
};

}  // namespace firmware
