// SPDX-License-Identifier: Apache-2.0
// A logic signal as the jig's comparators see it: a first-order line and two thresholds with memory between them.
#pragma once

#include "host/simulate/lanes.h"

namespace host::simulate {

class LogicLine {
 public:
  /// `keep`: what is left of a difference after one sub-step. Rising through `high_v` makes it high, falling through
  /// `low_v` low.
  LogicLine(double volts, double keep, double low_v, double high_v)
      : volts_(volts), keep_(keep), low_v_(low_v), high_v_(high_v), high_(volts > high_v) {}

  /// One sub-step towards `driven_v`. Returns the share of it after which the level changed, or a negative number.
  double advance(double driven_v) {
    const double before = volts_;
    volts_ = unless_vanished(driven_v + (volts_ - driven_v) * keep_);
    const double threshold = high_ ? low_v_ : high_v_;
    if (high_ ? volts_ >= threshold : volts_ <= threshold) return -1;
    high_ = !high_;
    return (threshold - before) / (volts_ - before);
  }
  double volts() const { return volts_; }
  bool high() const { return high_; }

 private:
  double volts_;
  double keep_;
  double low_v_;
  double high_v_;
  bool high_;
};

}  // namespace host::simulate
