// SPDX-License-Identifier: Apache-2.0
// What befell the supply as a whole, in plain words: it went off, and what went first. No cause is named.
#pragma once

#include <string>
#include <vector>

#include "result.pb.h"

namespace host::report {

struct Happenings {
  std::string headline;            // empty: it never went off unasked
  std::vector<std::string> found;  // a line for each way it went off, and for losses of mains
};

Happenings happenings(const steadyrail::proto::SessionResult& result);

}  // namespace host::report
