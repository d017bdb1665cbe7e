// SPDX-License-Identifier: Apache-2.0
#include "host/model/day.h"

#include <charconv>
#include <chrono>

#include <fmt/format.h>

namespace host::model {
namespace {

namespace chrono = std::chrono;

constexpr std::size_t kDayChars = 10;  // 2026-05-17

bool number(std::string_view text, unsigned& out) {
  const auto [end, code] = std::from_chars(text.data(), text.data() + text.size(), out);
  return code == std::errc{} && end == text.data() + text.size();
}

chrono::sys_days at(std::int32_t days) {
  return chrono::sys_days(chrono::days(days));
}

}  // namespace

std::optional<std::int32_t> day_of(std::string_view text) {
  unsigned year = 0;
  unsigned month = 0;
  unsigned day = 0;
  if (text.size() != kDayChars || text[4] != '-' || text[7] != '-') return std::nullopt;
  if (!number(text.substr(0, 4), year) || !number(text.substr(5, 2), month) || !number(text.substr(8), day)) {
    return std::nullopt;
  }
  const chrono::year_month_day date{chrono::year(static_cast<int>(year)), chrono::month(month), chrono::day(day)};
  if (!date.ok() || year < 1970) return std::nullopt;
  return static_cast<std::int32_t>(chrono::sys_days(date).time_since_epoch().count());
}

std::string day_text(std::int32_t days) {
  const chrono::year_month_day date{at(days)};
  return fmt::format("{:04}-{:02}-{:02}", static_cast<int>(date.year()), static_cast<unsigned>(date.month()),
                     static_cast<unsigned>(date.day()));
}

std::int32_t day_of(HostTime time) {
  return static_cast<std::int32_t>(chrono::floor<chrono::days>(time.since_epoch).count());
}

std::int32_t months_later(std::int32_t days, unsigned months) {
  chrono::year_month_day date{at(days)};
  date += chrono::months(months);
  if (!date.ok()) date = date.year() / date.month() / chrono::last;
  return static_cast<std::int32_t>(chrono::sys_days(date).time_since_epoch().count());
}

}  // namespace host::model
