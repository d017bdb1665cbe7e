// SPDX-License-Identifier: Apache-2.0
#include "host/label/decimal_comma.h"

#include <algorithm>
#include <cctype>

namespace host::label {
namespace {

// True when a digit, a comma and a digit stand together on the line.
bool has_decimal_comma(std::string_view text, int line) {
  if (line <= 0) return false;
  for (int at = 1; at < line && !text.empty(); ++at) text.remove_prefix(std::min(text.find('\n'), text.size() - 1) + 1);
  text = text.substr(0, text.find('\n'));
  const auto digit = [](char c) { return std::isdigit(static_cast<unsigned char>(c)) != 0; };
  for (std::size_t at = 1; at + 1 < text.size(); ++at) {
    if (text[at] == ',' && digit(text[at - 1]) && digit(text[at + 1])) return true;
  }
  return false;
}

}  // namespace

void hint_at_commas(std::string_view text, model::TextErrors& errors) {
  for (model::TextError& error : errors) {
    if (has_decimal_comma(text, error.line)) error.message += " (a decimal comma? write a point: 23.5)";
  }
}

}  // namespace host::label
