// SPDX-License-Identifier: Apache-2.0
// Everything that says "here it locked up": what people, heartbeats and PWR_OK told, and loads that went flat.
#pragma once

#include <string>
#include <vector>

#include "diagnosis.pb.h"
#include "result.pb.h"

namespace host::diagnose {

/// A mark placed on the session's time-line.
struct MarkedLockUp {
  double from_s = 0;
  double to_s = 0;
  std::string source;
  std::string words;
  double reliance = 1;  // chance that it is a lock-up at all
};

struct Marks {
  std::vector<MarkedLockUp> lock_ups;
  std::vector<std::string> remarks;  // marks left out, and why
};

/// `result`: session and events set. Falls of PWR_OK are lock-ups where the symptom is a reset or an off. A load that
/// went flat counts as far as no heartbeat went on meanwhile and while there are few of them.
Marks marks(const steadyrail::proto::SessionResult& result, const steadyrail::proto::Exposure& exposure);

/// The load of a running PC moves all the time; that of a frozen one stands still above nothing. Moments at which it
/// went flat for a second and a half or more, each the interval between two columns of `exposure`.
std::vector<MarkedLockUp> flat_loads(const steadyrail::proto::Exposure& exposure);

}  // namespace host::diagnose
