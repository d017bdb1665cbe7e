// SPDX-License-Identifier: Apache-2.0
// Words and figures as every output of the program writes them: one place, so that JSON, text and report agree.
#pragma once

#include <string>
#include <string_view>

#include <google/protobuf/descriptor.h>
#include <google/protobuf/generated_enum_reflection.h>

namespace host::report {

/// Word of an enum value: the type's own prefix cut, lower-case, hyphens. DECISION_NOT_TESTED -> "not-tested".
std::string enum_word(const google::protobuf::EnumDescriptor& type, int number);

template <typename Enum>
std::string word(Enum value) {
  return enum_word(*google::protobuf::GetEnumDescriptor<Enum>(), static_cast<int>(value));
}

/// "11.042 V +- 0.010 V" (with the sign): both rounded to two significant digits of the expanded uncertainty; without
/// one (0 or not finite), three decimals and no interval.
std::string with_uncertainty(double value, double expanded_uncertainty, std::string_view unit);

/// The same with seconds turned into milliseconds, as times of a supply are printed.
std::string quantity(double value, double expanded_uncertainty, std::string_view unit);

/// A value with `decimals` digits and its unit; a value that is not finite reads "none".
std::string figure(double value, int decimals, std::string_view unit);

/// A span of time in the unit that reads best: "94 us" (with the sign), "4.1 ms", "2.50 s", "8 h 2 min".
std::string time_span(double seconds);

/// A moment relative to the start of the session: "12.3456 s".
std::string moment(double seconds);

/// "1 scan", "2 scans", thousands set apart with commas.
std::string counted(unsigned long long count, std::string_view noun);

/// A share in percent that never rounds up to 100: "99.98 %" for anything short of all.
std::string percent_of(unsigned long long part, unsigned long long whole);

}  // namespace host::report
