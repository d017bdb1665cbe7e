// SPDX-License-Identifier: Apache-2.0
// Captures put together from their blocks; the last few are kept for drawings.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <functional>
#include <vector>

#include "host/decode/sink.h"

namespace host::detect {

/// Consecutive full-rate codes; channels that were not captured are empty.
struct Capture {
  std::uint32_t id = 0;
  steadyrail::proto::CaptureCause cause = steadyrail::proto::CAPTURE_CAUSE_UNKNOWN;
  std::uint64_t trigger = 0;
  std::uint64_t first = 0;
  std::uint64_t end = 0;
  std::array<std::vector<std::int16_t>, wire::kChannelCount> codes;
  std::array<std::int16_t, wire::kChannelCount> low{};  // least and greatest code, where there are any
  std::array<std::int16_t, wire::kChannelCount> high{};
  bool holds(std::size_t channel, std::uint64_t scan) const {
    return !codes[channel].empty() && scan >= first && scan < end;
  }
};

class CaptureStore {
 public:
  static constexpr std::size_t kKept = 8;
  static constexpr std::size_t kOpenMost = 4;
  static constexpr std::uint64_t kScansMost = 4096;

  /// `complete` is told of each capture that is whole, or as much of it as came without a hole.
  explicit CaptureStore(std::function<void(const Capture&)> complete) : complete_(std::move(complete)) {}

  /// Blocks of the raw stream (capture 0) are not captures and are left out.
  void add(const decode::CaptureBatch& batch);
  /// Nothing follows what is open.
  void finish();
  const std::deque<Capture>& kept() const { return kept_; }

 private:
  void close(std::size_t place);

  std::function<void(const Capture&)> complete_;
  std::vector<Capture> open_;
  std::deque<Capture> kept_;
  Capture spare_;  // one no longer kept: its room is used again
};

}  // namespace host::detect
