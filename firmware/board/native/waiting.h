// SPDX-License-Identifier: Apache-2.0
// Bounded waits on file descriptors, ended early by SIGTERM, SIGINT or SIGHUP.
#pragma once

#include <cstdint>
#include <span>

#include <poll.h>

namespace firmware {

/// Longest wait for a host or simulator that has gone quiet in mid-frame.
inline constexpr int kPatienceMs = 30000;

enum class Waited : std::uint8_t { kReady, kTimeout, kStopped };

/// Catches the stop signals; once, before the first wait. Ignores SIGPIPE. False when the system refuses.
bool catch_stop_signals();

/// Waits until one of `wanted` is ready, see poll(2); -1: as long as it takes.
Waited wait_for(std::span<pollfd> wanted, int timeout_ms);

/// The same for one descriptor.
Waited wait_for(int fd, short events, int timeout_ms);

}  // namespace firmware
