// SPDX-License-Identifier: Apache-2.0
// One of six conclusions, with what it rests on, what it does not exclude and what would change it.
#pragma once

#include "diagnosis.pb.h"
#include "result.pb.h"

namespace host::diagnose {

/// What the conclusion must know besides the result itself.
struct Surroundings {
  bool mains_watched = false;        // the jig has an AC-present channel
  bool currents_everywhere = false;  // every +12 V connector sensed carries a current channel
};

/// Sets `conclusion` and `diagnosis` from verdicts, events, resistances and coverage. A finding against the supply
/// comes before one against the wiring, that before the mains, that before an overload: the later ones are its
/// runner-up. Nothing found is not-shown only where every verdict had its exposure, else not-tested.
///
/// `evidence`: marked lock-ups, nullptr without any. It is told with every conclusion; where nothing else was found and
/// it is strong, the events before the lock-ups decide.
void conclude(steadyrail::proto::SessionResult& result, const Surroundings& surroundings,
              const steadyrail::proto::Evidence* evidence = nullptr);

}  // namespace host::diagnose
