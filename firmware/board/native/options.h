// SPDX-License-Identifier: Apache-2.0
// The command line of the virtual jig.
#pragma once

#include <cstdint>
#include <expected>
#include <span>
#include <string>

#include "firmware/hal/outputs.h"

namespace firmware {

/// How the pseudo-terminal is treated when the host does not read it.
enum class LinePolicy : std::uint8_t {
  kWait,  // bytes within the budget wait until it takes them: nothing depends on the host's speed
  kDrop,  // the telemetry queues decide, as on a real line
};

/// What a jig's flash may have come to.
enum class StoreState : std::uint8_t {
  kSound,
  kFull,  // nothing more without an erase
  kWorn,  // nothing can be written
};

struct Options {
  int scan_fd = -1;
  int announce_fd = -1;
  std::string jig_id = "J-01";
  Mode mode = Mode::kObserve;
  LinePolicy line = LinePolicy::kWait;
  std::uint32_t boot = 1;
  StoreState store = StoreState::kSound;
};

extern const char* const kUsage;

/// The error is a sentence for the user.
std::expected<Options, std::string> parse_options(std::span<const char* const> arguments);

}  // namespace firmware
