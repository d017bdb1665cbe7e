// SPDX-License-Identifier: Apache-2.0
#include "host/label/date.h"

#include <charconv>
#include <chrono>
#include <optional>

namespace host::label {
namespace {

// No PC is older; a later year is a slip.
constexpr int kYearMin = 1981;
constexpr int kYearMax = 2199;

std::optional<int> digits(std::string_view text, std::size_t count) {
  int value = 0;
  if (text.size() != count || text.find_first_not_of("0123456789") != text.npos) return std::nullopt;
  std::from_chars(text.data(), text.data() + text.size(), value);
  return value;
}

// ISO 8601: a year has week 53 when it begins on a Thursday, or on a Wednesday and is a leap year.
int weeks_in(int year) {
  const std::chrono::weekday first{std::chrono::sys_days{std::chrono::year{year} / 1 / 1}};
  const bool leap = std::chrono::year{year}.is_leap();
  return first == std::chrono::Thursday || (leap && first == std::chrono::Wednesday) ? 53 : 52;
}

}  // namespace

bool is_date(std::string_view text) {
  const std::optional<int> year = digits(text.substr(0, text.find('-')), 4);
  if (!year || *year < kYearMin || *year > kYearMax) return false;
  if (text.size() == 4) return true;
  const std::string_view rest = text.substr(5);
  if (rest.starts_with('W')) {
    const std::optional<int> week = digits(rest.substr(1), 2);
    return week && *week >= 1 && *week <= weeks_in(*year);
  }
  const std::optional<int> month = digits(rest.substr(0, rest.find('-')), 2);
  if (!month || *month < 1 || *month > 12) return false;
  if (rest.size() == 2) return true;
  const std::optional<int> day = digits(rest.substr(3), 2);
  return day &&
         std::chrono::year_month_day{std::chrono::year{*year}, std::chrono::month(*month), std::chrono::day(*day)}.ok();
}

}  // namespace host::label
