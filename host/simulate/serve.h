// SPDX-License-Identifier: Apache-2.0
// Feeds simulated scans to the virtual jig over a stream socket (proto/wire/scan_stream.h), in lock-step.
#pragma once

#include <atomic>
#include <chrono>
#include <cstdint>
#include <expected>
#include <functional>
#include <string>

#include "host/simulate/scan_source.h"

namespace host::simulate {

enum class Pace { kFree, kReal };

inline constexpr std::uint64_t kHookInterval = 16000;  // scans: half a second

struct ServeOptions {
  std::uint64_t duration_scans = 0;  // rounded up to whole blocks
  Pace pace = Pace::kFree;
  /// Called before the block that begins at each multiple of kHookInterval, scan 0 included; returns the number of
  /// sound host frames sent since the connection opened, which the jig waits for before it takes that block and those
  /// that follow. Its error ends `serve`. Without a hook the number is 0.
  std::function<std::expected<std::uint32_t, std::string>(std::uint64_t first_scan)> before_scan;
  const std::atomic<bool>* stop = nullptr;  // set from elsewhere: end after the block under way
  std::chrono::milliseconds reply_timeout{10000};
};

struct ServeResult {
  std::uint64_t scans = 0;  // taken by the jig
  bool stopped = false;     // by the flag
};

/// Blocks until the duration is served. The socket stays open and is the caller's. Errors (a sentence each): the jig
/// closed the socket, gave no answer in time, answered for another scan, or the socket failed.
std::expected<ServeResult, std::string> serve(int socket_fd, ScanSource& source, const ServeOptions& options);

}  // namespace host::simulate
