// SPDX-License-Identifier: Apache-2.0
// One state of a PC's load, and how far beyond the label an edition lets a supply be loaded meanwhile.
#pragma once

#include <vector>

#include "host/label/demand.h"
#include "host/label/power.h"
#include "limits.pb.h"
#include "unit.pb.h"

namespace host::label {

struct LoadCase {
  double duration_s = kSteady;
  std::vector<PlugLoad> plugs;
  std::array<double, steadyrail::proto::Rail_ARRAYSIZE> amps{};  // by rail
  RailWatts watts{};
  double allowed = 1;  // times the label, by the edition's table
  bool table = true;   // the edition has one, or the load is steady
  steadyrail::proto::LimitStatus allowed_status = steadyrail::proto::LIMIT_STATUS_READ;
  bool steady() const { return duration_s == kSteady; }
};

/// Steady first, then every length of excursion, ascending. `limits` may be null. The edition's column for big supplies
/// holds above 450 W where the PC uses a 12-way graphics plug; else that for small ones does.
std::vector<LoadCase> load_cases(const steadyrail::proto::Unit& unit, const steadyrail::proto::System& system,
                                 const steadyrail::proto::LimitSet* limits);

/// "steady", "100 us", "10 ms", "3 s".
std::string case_words(double duration_s);

}  // namespace host::label
