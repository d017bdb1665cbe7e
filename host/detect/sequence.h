// SPDX-License-Identifier: Apache-2.0
// In which order the rails came up, and whether +3.3 V stood above +12 V or +5 V meanwhile.
#pragma once

#include <optional>
#include <span>
#include <string>

#include "host/detect/crossing_book.h"
#include "host/detect/figures.h"

namespace host::detect {

struct RailWatch;

struct Sequence {
  std::string order;           // at 20 % and at 80 % of nominal, in words
  std::optional<Timed> above;  // greatest mean of a window by which +3.3 V exceeds +12 V or +5 V; below 0: never
};

/// One channel a rail, the first of each. Shorter crossings than a window are not seen.
Sequence read_sequence(const model::Jig& jig, std::span<const RailWatch> rails,
                       std::span<const History::Window> windows, const History& history, const CrossingBook& crossings);

}  // namespace host::detect
