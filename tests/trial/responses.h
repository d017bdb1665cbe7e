// SPDX-License-Identifier: Apache-2.0
// The linear supply of one session in closed form: what every channel reads at rest, and how it answers a step of each
// source. Exact where the supply regulates, since it is linear there.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "tests/trial/detail.h"
#include "tests/trial/sources.h"

namespace trial {

class Responses {
 public:
  static constexpr std::size_t kWindow = 32;  // scans

  explicit Responses(Detail& detail);

  /// Codes of a channel at rest.
  double at_rest(std::size_t channel, const Levels& levels) const {
    double code = at_zero_[channel];
    for (std::size_t s = 0; s < kSources; ++s) code += per_amp_[channel][s] * levels[s];
    return code;
  }
  double per_amp(std::size_t channel, std::size_t source) const { return per_amp_[channel][source]; }
  /// Codes per ampere, 32 scans from the scan `since` on; `since` counts from the last scan without the step and may
  /// lie up to 32 before it and up to reach() after it.
  const float* rise(std::size_t channel, std::size_t source, Scan since) const {
    return &rise_[channel][source][static_cast<std::size_t>(since + static_cast<Scan>(kWindow))];
  }
  /// Codes per ampere over 32 scans from the scan `since` on, as rise() counts.
  struct Over {
    float mean = 0, least = 0, most = 0;
  };
  const Over& over(std::size_t channel, std::size_t source, Scan since) const {
    return over_[channel][source][static_cast<std::size_t>(since + static_cast<Scan>(kWindow))];
  }
  /// Scans after which a step has settled everywhere.
  Scan reach() const { return reach_; }
  /// Channels a step of the source moves by more than noise could hide, one bit each.
  std::uint32_t felt(std::size_t source) const { return felt_[source]; }

 private:
  std::array<double, kSeen> at_zero_{};
  std::array<std::array<double, kSources>, kSeen> per_amp_{};
  std::array<std::array<std::vector<float>, kSources>, kSeen> rise_;
  std::array<std::array<std::vector<Over>, kSources>, kSeen> over_;
  std::array<std::uint32_t, kSources> felt_{};
  Scan reach_ = 0;
};

}  // namespace trial
