// SPDX-License-Identifier: Apache-2.0
// A block of 32 windows of every channel, as a decoder would hand it on.
#pragma once

#include <array>
#include <cstdint>

#include "proto/wire/window_codec.h"
#include "tests/trial/noise.h"
#include "tests/trial/wave.h"

namespace trial {

class Columns {
 public:
  Columns();
  using Windows = std::array<Wave::Window, wire::kWindowsPerBlock>;
  /// Counts beyond limits stay as they are.
  void fill(const Windows& windows, const Wave& wave, const Noise& noise);
  void clear_counts();
  wire::DecodedWindows& windows() { return windows_; }
  /// Extremes of a channel over the block.
  std::int16_t least(std::size_t channel) const { return least_[channel]; }
  std::int16_t most(std::size_t channel) const { return most_[channel]; }

 private:
  void still(std::size_t channel, const float* level, const Noise& noise, Scan first);
  void moving(std::size_t channel, const Windows& windows, const Wave& wave, const Noise& noise);
  void walked(std::size_t channel, std::size_t window, const float* samples, const float* noise);

  wire::DecodedWindows windows_;
  std::array<std::int16_t, wire::kChannelCount> least_{};
  std::array<std::int16_t, wire::kChannelCount> most_{};
};

}  // namespace trial
