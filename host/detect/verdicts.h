// SPDX-License-Identifier: Apache-2.0
// One verdict per voltage channel and quantity: the worse side, with everything it rests on.
#pragma once

#include <array>
#include <cstdint>
#include <span>

#include "host/detect/tally.h"
#include "host/judge/under_read.h"
#include "limits.pb.h"
#include "result.pb.h"

namespace host::detect {

/// How much of the session was seen, for the coverage a verdict asks for.
struct Seen {
  double scans_share = 0;                                               // of all scans between the first and the last
  std::array<std::array<std::uint32_t, 2>, judge::kRailCount> steps{};  // falling, rising; of the rail's currents
};

/// Shortest dip a dynamic verdict speaks for: the shortest duration of the edition's excursion table, else 100 us (that
/// table's first row in document 336521, table 3-3).
double shortest_dip_s(const steadyrail::proto::LimitSet& limits);

/// Appends the verdicts of every tallied channel; `limits` null: not tested. `chains` by channel index.
void write_verdicts(const model::Jig& jig, const steadyrail::proto::LimitSet* limits, const Tally& tally,
                    std::span<const judge::UnderRead> chains, const Seen& seen,
                    steadyrail::proto::SessionResult& result);

}  // namespace host::detect
