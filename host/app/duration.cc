// SPDX-License-Identifier: Apache-2.0
#include "host/app/duration.h"

#include <charconv>
#include <cmath>

#include <fmt/format.h>

namespace host::app {
namespace {

constexpr double kDurationMaxMs = 30.0 * 24 * 3600 * 1000;

struct Unit {
  std::string_view name;
  double milliseconds;
};
constexpr Unit kUnits[] = {{"ms", 1}, {"s", 1e3}, {"m", 60e3}, {"h", 3600e3}};

}  // namespace

std::expected<std::chrono::milliseconds, std::string> parse_duration(std::string_view text) {
  const auto wrong = [&](std::string_view why) {
    return std::unexpected(fmt::format("'{}' {}; write a number and a unit: 500ms, 90s, 5m, 8h", text, why));
  };
  double number = 0;
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (fault != std::errc{} || !std::isfinite(number)) return wrong("is no duration");
  const std::string_view name(end, static_cast<std::size_t>(text.data() + text.size() - end));
  if (name.empty()) return wrong("has no unit");
  for (const Unit& unit : kUnits) {
    if (unit.name != name) continue;
    const double milliseconds = std::round(number * unit.milliseconds);
    if (milliseconds < 1) return wrong("is not above zero");
    if (milliseconds > kDurationMaxMs) return wrong("is longer than 30 days");
    return std::chrono::milliseconds(static_cast<std::int64_t>(milliseconds));
  }
  return wrong("has an unknown unit");
}

}  // namespace host::app
