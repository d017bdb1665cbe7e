// SPDX-License-Identifier: Apache-2.0
// A contact that opens and closes at random (random telegraph): dwell times are exponentially distributed.
#pragma once

#include <cstdint>

#include "host/simulate/connectors.h"
#include "host/simulate/random.h"

namespace host::simulate {

struct ContactParameters {
  Tap tap = k12Graphics1;
  double ohm = 0;            // added while bad
  double closed_mean_s = 0;  // 0: bad all the time
  double open_mean_s = 0;
};

class Contact {
 public:
  Contact(const ContactParameters& parameters, std::uint64_t seed) : parameters_(parameters), random_(seed, 7) {
    if (parameters_.closed_mean_s > 0) left_s_ = random_.exponential_of_mean(parameters_.closed_mean_s);
  }
  /// One scan later; true when the resistance has changed.
  bool advance(double scan_s) {
    if (parameters_.closed_mean_s == 0) return false;
    left_s_ -= scan_s;
    if (left_s_ > 0) return false;
    bad_ = !bad_;
    left_s_ = random_.exponential_of_mean(bad_ ? parameters_.open_mean_s : parameters_.closed_mean_s);
    return true;
  }
  Tap tap() const { return parameters_.tap; }
  double ohm() const { return bad_ || parameters_.closed_mean_s == 0 ? parameters_.ohm : 0; }

 private:
  ContactParameters parameters_;
  Random random_;
  bool bad_ = false;
  double left_s_ = 0;
};

}  // namespace host::simulate
