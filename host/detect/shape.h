// SPDX-License-Identifier: Apache-2.0
// What is known of the level round an extreme: how much of a peak the chain may hide hangs on its flanks.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "host/detect/capture_store.h"
#include "host/detect/history.h"
#include "host/judge/under_read.h"

namespace host::detect {

/// In codes of the channel.
struct Shape {
  std::optional<double> steepest{};  // greatest difference of neighbouring scans near the extreme, from a capture
  std::optional<double> span{};      // highest less lowest reading of the windows that reach there
};

/// Where an extreme stands: in one of [from, to).
struct Place {
  std::size_t channel = 0;
  std::uint64_t from = 0;
  std::uint64_t to = 0;
  std::int32_t code = 0;
};

/// Nothing: the capture does not hold the whole place and `reach` scans on both sides of that code in it.
std::optional<double> steepest_near(const Capture& capture, const Place& place, std::size_t reach);

/// Over the windows held that lie within so many scans of the place; nothing when none is.
std::optional<double> span_round(const History& history, const Place& place, std::size_t before, std::size_t after);

/// Bound of what a peak of this shape hides, V; nothing: unbounded.
std::optional<double> hidden_by_peak(const judge::UnderRead& chain, const Shape& shape, double per_code);

}  // namespace host::detect
