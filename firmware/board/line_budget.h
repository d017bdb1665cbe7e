// SPDX-License-Identifier: Apache-2.0
// What a serial line carries in device time, for boards whose line is none: the same bytes whatever the pace.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>

namespace firmware {

class LineBudget {
 public:
  /// One block of 32 scans, 1 ms, went by at this rate. What the block before left unused is gone, as on a real line.
  void begin_block(std::uint32_t line_bytes_per_s) {
    thousandths_ += line_bytes_per_s;
    bytes_ = thousandths_ / 1000;
    thousandths_ %= 1000;
  }
  /// No run: the budget does not hold, since no device time goes by.
  void set_unlimited(bool unlimited) { unlimited_ = unlimited; }

  std::size_t room() const { return unlimited_ ? SIZE_MAX : bytes_; }
  void spend(std::size_t bytes) {
    if (!unlimited_) bytes_ -= static_cast<std::uint32_t>(std::min<std::size_t>(bytes, bytes_));
  }

 private:
  bool unlimited_ = true;
  std::uint32_t bytes_ = 0;
  std::uint32_t thousandths_ = 0;  // of a byte, left over
};

}  // namespace firmware
