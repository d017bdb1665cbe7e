// SPDX-License-Identifier: Apache-2.0
// What of a result speaks for which place of the fault, each finding a sentence with its figures.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "result.pb.h"

namespace host::diagnose {

struct Findings {
  std::vector<std::string> supply;
  std::vector<std::string> overload;
  std::vector<std::string> wiring;
  std::vector<std::string> mains;
  std::vector<std::string> remarks;  // seen, but speaking for none of them: told with any conclusion
  std::vector<steadyrail::proto::ShutdownRead> shutdowns;
  bool standby_fell = false;
  bool returns_alone = false;    // all that speaks for the wiring is a group's shared return
  bool mains_or_supply = false;  // a shutdown that an AC-present channel would have explained
};

/// `mains_watched`: the jig has an AC-present channel. A failing verdict speaks against the supply unless a contact
/// that carries far too much resistance stands before its connector and other connectors of the rail pass; a fall that
/// follows a loss of mains speaks for the mains alone.
Findings findings(const steadyrail::proto::SessionResult& result, bool mains_watched);

}  // namespace host::diagnose
