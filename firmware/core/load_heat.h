// SPDX-License-Identifier: Apache-2.0
// What the load bank has taken and not given off yet, over all programmes. It gives off so much all the time, and never
// more than it holds. Exact for what the timer was loaded with.
#pragma once

#include <algorithm>
#include <cstdint>

#include "firmware/core/load_bank.h"

namespace firmware {

class LoadHeat {
 public:
  /// The bank as described anew; what it holds stays.
  void describe(const LoadBank& bank) { bank_ = &bank; }

  /// `gates` are on from `time_256` on, in 1/256 scan since boot; times before the latest one count as that.
  void note(std::uint64_t time_256, std::uint32_t gates) {
    if (time_256 > time_256_) {
      const std::uint64_t passed = time_256 - time_256_;
      const std::uint64_t off = passed * bank_->cooling_mw;
      const std::uint64_t held = held_ + passed * power_mw_;
      held_ = held - std::min(held, off);
      time_256_ = time_256;
    }
    if (gates == gates_) return;
    gates_ = gates;
    power_mw_ = 0;
    for (std::uint32_t gate = 0; gate < kGateCount; ++gate) {
      if ((gates >> gate & 1) != 0) power_mw_ += bank_->branches[gate].power_mw;
    }
  }

  std::uint64_t held_nj() const { return held_ / 1024 * 125; }  // a scan's 1/256 is 125/1024 us
  bool beyond() const { return gates_ != 0 && held_nj() > bank_->energy_j_max * kNanojoulesPerJoule; }

 private:
  const LoadBank* bank_ = nullptr;
  std::uint64_t time_256_ = 0;
  std::uint32_t gates_ = 0;
  std::uint64_t power_mw_ = 0;
  std::uint64_t held_ = 0;  // mW x 1/256 scan: a bank of 16 kW fills 64 bits in a day and a half
};

}  // namespace firmware
