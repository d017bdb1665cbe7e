// SPDX-License-Identifier: Apache-2.0
// The serial line of the virtual jig: a pseudo-terminal that carries as many bytes a block of device time as the line
// it stands for, whatever the pace.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>

#include "firmware/board/line_budget.h"
#include "firmware/board/native/options.h"
#include "firmware/hal/serial.h"

namespace firmware {

class TerminalLine : public SerialTransmitter, public SerialReceiver {
 public:
  explicit TerminalLine(LinePolicy policy) : policy_(policy) {}
  ~TerminalLine() override;
  TerminalLine(const TerminalLine&) = delete;
  TerminalLine& operator=(const TerminalLine&) = delete;

  /// False: error() says why.
  bool open();
  const std::string& path() const { return path_; }
  int fd() const { return master_; }
  const std::string& error() const { return error_; }

  LineBudget& budget() { return budget_; }

  std::size_t room() const override;
  std::size_t try_write(std::span<const std::byte> bytes) override;
  std::size_t take(std::span<std::byte> into) override;

  enum class State : std::uint8_t {
    kOpen,
    kStopped,  // a signal ended a wait for the host
    kDead,     // the host did not read for kPatienceMs, or the terminal failed
  };
  State state() const { return state_; }

  /// Waits until the host has read everything, `timeout_ms` at most: closing the terminal throws away the rest.
  void linger(int timeout_ms) const;

 private:
  LinePolicy policy_;
  int master_ = -1;
  int slave_ = -1;  // held open, so that a host may close the port and open it again
  std::string path_;
  std::string error_;
  State state_ = State::kOpen;
  LineBudget budget_;
};

}  // namespace firmware
