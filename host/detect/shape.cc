// SPDX-License-Identifier: Apache-2.0
#include "host/detect/shape.h"

#include <algorithm>
#include <cmath>

namespace host::detect {

std::optional<double> steepest_near(const Capture& capture, const Place& place, std::size_t reach) {
  const auto& codes = capture.codes[place.channel];
  if (codes.empty() || place.from < capture.first + reach || place.to + reach > capture.end) return std::nullopt;
  const auto begin = codes.begin() + static_cast<std::ptrdiff_t>(place.from - capture.first);
  const auto end = codes.begin() + static_cast<std::ptrdiff_t>(place.to - capture.first);
  std::optional<double> steepest;
  // An extreme held twice has flanks at both ends.
  for (auto at = std::find(begin, end, place.code); at != end; at = std::find(at + 1, end, place.code)) {
    const auto near = static_cast<std::ptrdiff_t>(reach);
    for (auto scan = at - near; scan != at + near; ++scan) {
      steepest = std::max(steepest.value_or(0), std::abs(static_cast<double>(scan[1]) - scan[0]));
    }
  }
  return steepest;
}

std::optional<double> span_round(const History& history, const Place& place, std::size_t before, std::size_t after) {
  std::int32_t low = INT16_MAX;
  std::int32_t high = INT16_MIN;
  const std::uint64_t from = place.from > before ? place.from - before : 0;
  history.visit(from, place.to + after, [&](const History::Window& window) {
    low = std::min<std::int32_t>(low, history.low(window, place.channel));
    high = std::max<std::int32_t>(high, history.high(window, place.channel));
  });
  if (low > high) return std::nullopt;
  return high - low;
}

std::optional<double> hidden_by_peak(const judge::UnderRead& chain, const Shape& shape, double per_code) {
  if (shape.steepest) return chain.bound_of_steepness(*shape.steepest * std::abs(per_code));
  if (shape.span) return chain.bound_of_span(*shape.span * std::abs(per_code));
  return std::nullopt;
}

}  // namespace host::detect
