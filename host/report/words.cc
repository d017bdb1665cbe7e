// SPDX-License-Identifier: Apache-2.0
#include "host/report/words.h"

#include <algorithm>
#include <cctype>
#include <cmath>

#include <fmt/format.h>

namespace host::report {
namespace {

constexpr int kDecimalsMax = 9;

char lower(char letter) {
  return static_cast<char>(std::tolower(static_cast<unsigned char>(letter)));
}

/// "LimitStatus" -> "LIMIT_STATUS_"
std::string enum_prefix(std::string_view type_name) {
  std::string prefix;
  for (const char letter : type_name) {
    if (std::isupper(static_cast<unsigned char>(letter)) != 0 && !prefix.empty()) prefix += '_';
    prefix += static_cast<char>(std::toupper(static_cast<unsigned char>(letter)));
  }
  return prefix + '_';
}

/// Digits after the point that show two significant digits of `uncertainty`.
int decimals_for(double uncertainty) {
  const int decimals = 1 - static_cast<int>(std::floor(std::log10(uncertainty)));
  return std::clamp(decimals, 0, kDecimalsMax);
}

}  // namespace

std::string enum_word(const google::protobuf::EnumDescriptor& type, int number) {
  const google::protobuf::EnumValueDescriptor* value = type.FindValueByNumber(number);
  if (value == nullptr) return fmt::format("unrecognised-{}", number);
  std::string_view name = value->name();
  const std::string prefix = enum_prefix(type.name());
  if (name.starts_with(prefix)) name.remove_prefix(prefix.size());
  std::string text;
  for (const char letter : name) text += letter == '_' ? '-' : lower(letter);
  return text;
}

std::string with_uncertainty(double value, double expanded_uncertainty, std::string_view unit) {
  if (!std::isfinite(expanded_uncertainty) || expanded_uncertainty <= 0) return figure(value, 3, unit);
  if (!std::isfinite(value)) return "none";
  const int decimals = decimals_for(expanded_uncertainty);
  return fmt::format("{:.{}f} {} ± {:.{}f} {}", value, decimals, unit, expanded_uncertainty, decimals, unit);
}

std::string quantity(double value, double expanded_uncertainty, std::string_view unit) {
  if (unit == "s") return with_uncertainty(1e3 * value, 1e3 * expanded_uncertainty, "ms");
  return with_uncertainty(value, expanded_uncertainty, unit);
}

std::string figure(double value, int decimals, std::string_view unit) {
  if (!std::isfinite(value)) return "none";
  return fmt::format("{:.{}f} {}", value, decimals, unit);
}

std::string time_span(double seconds) {
  if (!std::isfinite(seconds)) return "none";
  const double size = std::abs(seconds);
  if (size == 0) return "0 s";
  if (size < 999.5e-6) return fmt::format("{:.0f} µs", seconds * 1e6);
  if (size < 9.995e-3) return fmt::format("{:.2f} ms", seconds * 1e3);
  if (size < 0.9995) return fmt::format("{:.1f} ms", seconds * 1e3);
  if (size < 99.95) return fmt::format("{:.2f} s", seconds);
  const long long whole = std::llround(size);
  const char* sign = seconds < 0 ? "-" : "";
  if (whole < 3600) return fmt::format("{}{} min {} s", sign, whole / 60, whole % 60);
  return fmt::format("{}{} h {} min", sign, whole / 3600, whole % 3600 / 60);
}

std::string moment(double seconds) {
  return figure(seconds, 4, "s");
}

std::string counted(unsigned long long count, std::string_view noun) {
  std::string digits = std::to_string(count);
  for (int at = static_cast<int>(digits.size()) - 3; at > 0; at -= 3)
    digits.insert(static_cast<std::size_t>(at), 1, ',');
  return fmt::format("{} {}{}", digits, noun, count == 1 ? "" : noun.ends_with('s') ? "es" : "s");
}

std::string percent_of(unsigned long long part, unsigned long long whole) {
  if (whole == 0) return "0 %";
  if (part >= whole) return "100 %";
  // Rounding down, so that a loss never reads as 100 %.
  const double percent = std::floor(static_cast<double>(part) / static_cast<double>(whole) * 1e5) / 1e3;
  return fmt::format("{:.3f} %", std::min(percent, 99.999));
}

}  // namespace host::report
