// SPDX-License-Identifier: Apache-2.0
// Which cable goes to which socket, so that the sub-rail nearest to its limit has the most left.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "limits.pb.h"
#include "load_budget.pb.h"
#include "system.pb.h"
#include "unit.pb.h"

namespace host::label {

/// A cable to be placed: its load in each case, and the sockets it may take.
struct SplitCable {
  std::vector<double> amps;       // by case
  std::vector<std::size_t> open;  // places, the present one first
};

struct SplitResult {
  double worst_margin = 0;           // a share of its limit, of the sub-rail and case nearest to it
  std::vector<std::size_t> sockets;  // by cable
  std::uint64_t tried = 0;           // whole arrangements worked out
};

/// The arrangement with the largest worst-case margin; among equals the one that moves fewest cables (the first of a
/// cable's open places is where it is). `sub_rail_of[socket]`: its sub-rail, or sub-rails' count for none.
/// `limits[case][sub-rail]`: A. Cables that share one open socket share all of them. Branch and bound: exact. Nothing
/// in `sockets` when the cables do not all fit.
SplitResult best_split(std::span<const SplitCable> cables, std::span<const std::size_t> sub_rail_of,
                       std::span<const std::vector<double>> limits);

/// Of a unit with sub-rails of +12 V whose sockets are printed; else a refusal in words.
steadyrail::proto::CableSplit split_cables(const steadyrail::proto::Unit& unit, const steadyrail::proto::System& system,
                                           const steadyrail::proto::LimitSet* limits);

}  // namespace host::label
