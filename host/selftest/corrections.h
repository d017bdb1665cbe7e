// SPDX-License-Identifier: Apache-2.0
// Lines to paste into a jig's description, where the jig is as wished and the description is not.
#pragma once

#include <string>
#include <vector>

#include "host/model/jig.h"

namespace host::selftest {

/// Each one's tap is seen by the other.
struct Swap {
  std::string one;
  std::string other;
};

/// What a channel's scale was found to be.
struct Scale {
  std::string channel;
  double unit_per_code = 0;
  double unit_at_code_0 = 0;
};

struct Noise {
  std::string channel;
  double code_rms = 0;
};

/// A remark line ("# ...") before each line of the description.
std::vector<std::string> corrections(const model::Jig& jig, const std::vector<Swap>& swaps,
                                     const std::vector<Scale>& scales, const std::vector<Noise>& noises);

}  // namespace host::selftest
