// SPDX-License-Identifier: Apache-2.0
// Marked lock-ups held against the events before them, by what was declared before the session.
#pragma once

#include <vector>

#include "diagnosis.pb.h"
#include "host/diagnose/marks.h"
#include "recording.pb.h"

namespace host::diagnose {

/// Fewer windows of a load state than this give no base chance; common practice, no source.
inline constexpr std::uint64_t kBaseWindowsLeast = 200;

/// `declared`: window above 0, 0 < chance < 1 (the defaults of default_declaration() where the recording has none).
/// Lock-ups whose windows overlap are one, dated by what needs no hand where there is such a mark. The base is counted
/// in windows as long as the declared one and the lock-up's own interval together: a lock-up that is dated badly has
/// more room for an event by chance. Windows within 10 s of a lock-up, with a missing scan, or of the other load state
/// are no base. Events that began after the load had left its busy level do not count: its release makes them.
steadyrail::proto::Evidence weigh(const steadyrail::proto::Exposure& exposure, std::vector<MarkedLockUp> lock_ups,
                                  const steadyrail::proto::Declaration& declared);

/// Window 2 s, chance of a hit 0.8 if the supply is at fault; common practice, no source.
steadyrail::proto::Declaration default_declaration();

}  // namespace host::diagnose
