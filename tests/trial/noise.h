// SPDX-License-Identifier: Apache-2.0
// Converter noise from a table, sample by sample or as finished windows; the same scan of a channel always gets the
// same noise, so that windows, captures and means agree.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "host/model/jig.h"
#include "tests/trial/sources.h"

namespace trial {

class Noise {
 public:
  static constexpr std::size_t kWindows = 2048;
  static constexpr std::size_t kScans = 32;

  /// `tone_codes`: amplitude of what a channel's switching ripple leaves behind its filter, at 4 kHz.
  Noise(const host::model::Jig& jig, std::uint64_t seed, const std::array<double, wire::kChannelCount>& tone_codes);

  struct Table {
    double sigma = 0;
    double tone = 0;
    std::vector<float> samples;  // codes; 32 windows longer than kWindows, so that a block may begin anywhere
    std::vector<float> mean;     // by window
    std::vector<float> least;
    std::vector<float> most;
  };
  const Table& table(std::size_t channel) const { return tables_[of_[channel]]; }
  /// Place in the table of the window that begins at `scan`, a multiple of 32.
  std::size_t window(std::size_t channel, Scan scan) const {
    const auto index = static_cast<std::uint64_t>(scan) / kScans;
    const std::uint64_t mixed = (index / 32 * 24 + channel + seed_) * 0x9e3779b97f4a7c15u;
    return (mixed >> 40) % kWindows + index % 32;
  }
  /// Noise of 32 scans from such a window on.
  const float* samples(std::size_t channel, Scan scan) const {
    return &table(channel).samples[window(channel, scan) * kScans];
  }

 private:
  std::uint64_t seed_;
  std::vector<Table> tables_;
  std::array<std::size_t, wire::kChannelCount> of_{};
};

}  // namespace trial
