// SPDX-License-Identifier: Apache-2.0
// A bounded, seeded sample of a stream: its median is exact up to the bound and an estimate beyond.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <vector>

namespace host::detect {

class Reservoir {
 public:
  static constexpr std::size_t kMost = 501;

  void add(double value) {
    ++seen_;
    if (kept_.size() < kMost) {
      kept_.push_back(value);
      median_.reset();
      return;
    }
    // Constants of the 64-bit linear congruential generator in Knuth, TAOCP 2, 3.3.4 (MMIX); its high bits are used.
    state_ = state_ * 6364136223846793005U + 1442695040888963407U;
    const std::uint64_t place = (state_ >> 33) % seen_;
    if (place >= kMost) return;
    kept_[place] = value;
    median_.reset();
  }
  std::uint64_t seen() const { return seen_; }
  std::optional<double> median() const {
    if (kept_.empty() || median_) return median_;
    std::vector<double> parted = kept_;
    const auto middle = parted.begin() + static_cast<std::ptrdiff_t>(parted.size() / 2);
    std::ranges::nth_element(parted, middle);
    median_ = parted.size() % 2 == 1 ? *middle : (*std::max_element(parted.begin(), middle) + *middle) / 2;
    return median_;
  }

 private:
  std::vector<double> kept_;
  mutable std::optional<double> median_;  // of what is kept; asked for at every sag, changed at few
  std::uint64_t seen_ = 0;
  std::uint64_t state_ = 1;
};

}  // namespace host::detect
