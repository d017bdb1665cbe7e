// SPDX-License-Identifier: Apache-2.0
// The jig fed from files instead of converters and a line: scans and host frames in, frames out. Same order of things
// as the virtual jig in lock-step, so that the same files give the same bytes on every board.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "firmware/app/jig.h"
#include "firmware/board/line_budget.h"
#include "firmware/hal/outputs.h"
#include "firmware/hal/scan_source.h"
#include "firmware/hal/serial.h"
#include "proto/wire/scan_stream.h"

namespace firmware {

/// A file as far as a replay needs it; on the chip under emulation by semihosting, on a host by the C library.
class ReplayFile {
 public:
  virtual ~ReplayFile() = default;
  /// Bytes read; fewer than asked for at the end.
  virtual std::size_t read(std::span<std::byte> into) = 0;
  virtual bool write(std::span<const std::byte> bytes) = 0;
};

enum class Work : std::uint8_t { kAcquiring, kTalking };
inline constexpr std::size_t kWorkKinds = 2;

/// Told of the core's work on each block, call by call, so that an emulator can count it. Reading the files is not in
/// it.
class ReplayMeter {
 public:
  virtual ~ReplayMeter() = default;
  virtual void begin() = 0;
  virtual void done(Work work) = 0;
  virtual void end_block() = 0;
};

enum class ReplayEnd : std::uint8_t { kComplete, kBadScans, kBadCommands, kNotWritten };

class Replay : private SerialTransmitter, private LoadGates, private PsOnDriver, private ModeLink, private Watchdog {
 public:
  /// `scans`: blocks of proto/wire/scan_stream.h. `commands`: host frames, one after the other. `frames`: what the jig
  /// says. `meter` may be null. All outlive the replay.
  Replay(ReplayFile& scans, ReplayFile& commands, ReplayFile& frames, NonVolatileStore& store, Mode mode,
         ReplayMeter* meter = nullptr);

  /// Everything `scans` holds, then the end of the run.
  ReplayEnd run();

  const Jig& jig() const { return jig_; }

 private:
  ReplayEnd take_block(const wire::ScanBlockHeader& header);
  bool read_block(const wire::ScanBlockHeader& header);
  bool take_commands(std::uint32_t expected);
  void talk();
  void work_on_block();

  std::size_t room() const override;
  std::size_t try_write(std::span<const std::byte> bytes) override;
  bool queue_edge(const GateEdge& /*edge*/) override { return true; }
  void switch_off() override {}
  void drive(bool /*on*/) override {}
  Mode read() override { return mode_; }
  void feed() override {}

  ReplayFile& scans_;
  ReplayFile& commands_;
  ReplayFile& frames_;
  Mode mode_;
  ReplayMeter* meter_;
  LineBudget budget_{};
  bool written_ = true;
  std::uint32_t commands_taken_ = 0;
  ScanBlock block_{};
  Jig jig_;
};

}  // namespace firmware
