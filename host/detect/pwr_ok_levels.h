// SPDX-License-Identifier: Apache-2.0
// Levels of PWR_OK while it stands still: lowest while high, highest while low, peak to peak of a
// window while high.
#pragma once

#include <cstdint>
#include <optional>

#include "host/detect/block.h"
#include "host/detect/figures.h"

namespace host::detect {

class PwrOkLevels {
 public:
  explicit PwrOkLevels(const model::Jig& jig);
  void add(const Block& block);
  /// Figures so far, of stretches of 20 ms with another of the same state on both sides.
  void write(WorstFigures& figures) const;

 private:
  struct Stretch {
    double least = 0;
    double most = 0;
    double span = 0;  // widest of its windows: a level that drifts is no noise
    std::uint64_t at = 0;
    std::uint32_t scans = 0;
  };
  struct Extreme {
    double volts = 0;
    std::uint64_t at = 0;
  };
  void step(const Block& block, std::uint32_t window);
  void tell(const Stretch& stretch);

  const model::JigChannel* line_;
  std::uint32_t stretch_scans_;
  int state_ = 0;                // 1 high, -1 low, 0 between
  std::uint32_t stretches_ = 0;  // whole ones in this state
  Stretch held_;                 // the last whole one: told when the next has passed in the same state
  Stretch now_;
  std::optional<Extreme> lowest_high_, highest_low_, noise_;
};

}  // namespace host::detect
