// SPDX-License-Identifier: Apache-2.0
// The firmware as a process: scans from a socket, the line on a pseudo-terminal.
//
// Without a run, commands are answered at once. During a run they are answered after the next block, and the line gets
// its budget once a block; a block is not taken before the commands it names have arrived. A host that sends commands
// only between one block's outputs and the next block therefore always gets the same bytes for the same scans.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>

#include "firmware/app/jig.h"
#include "firmware/board/native/fixed_store.h"
#include "firmware/board/native/options.h"
#include "firmware/board/native/scan_socket.h"
#include "firmware/board/native/terminal_line.h"

namespace firmware {

class VirtualJig : public ModeLink, public Watchdog {
 public:
  explicit VirtualJig(const Options& options);

  /// Announces the terminal and serves until the scan stream ends or a signal comes. Empty: a clean end; else the
  /// reason.
  std::string serve();

  Mode read() override { return options_.mode; }
  void feed() override {}

 private:
  enum class Step : std::uint8_t { kGoOn, kEnd, kFailed };

  bool announce();
  Step wait_for_scans();
  Step wait_for_commands();
  Step take_block();
  Step after_writing();
  void handle_bytes();
  bool commands_due() const { return commands_ < scans_.commands_expected(); }
  void talk();
  void finish();
  Step failed(const std::string& why);

  const Options& options_;
  FixedStore store_;
  ScanSocket scans_;
  TerminalLine line_;
  Jig jig_;
  std::array<std::byte, 4096> received_{};
  std::size_t received_bytes_ = 0;
  std::size_t received_at_ = 0;
  std::uint32_t commands_ = 0;  // sound host frames so far
  std::string failure_;
};

}  // namespace firmware
