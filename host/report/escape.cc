// SPDX-License-Identifier: Apache-2.0
#include "host/report/escape.h"

#include <cstdint>

namespace host::report {
namespace {

constexpr std::string_view kReplacement = "\xEF\xBF\xBD";

std::uint8_t byte_at(std::string_view text, std::size_t at) {
  return at < text.size() ? static_cast<std::uint8_t>(text[at]) : std::uint8_t{0};
}

/// Bytes of the well-formed sequence at `at` by RFC 3629 section 4; 0 when there is none.
std::size_t sequence_bytes(std::string_view text, std::size_t at) {
  const std::uint8_t lead = byte_at(text, at);
  const std::uint8_t second = byte_at(text, at + 1);
  const auto tail = [&](std::size_t offset) { return (byte_at(text, at + offset) & 0xC0) == 0x80; };
  if (lead < 0x80) return 1;
  if (lead >= 0xC2 && lead <= 0xDF) return tail(1) ? 2 : 0;
  if (lead >= 0xE0 && lead <= 0xEF) {
    if (!tail(1) || !tail(2)) return 0;
    if (lead == 0xE0 && second < 0xA0) return 0;  // longer than needed
    if (lead == 0xED && second > 0x9F) return 0;  // a surrogate
    return 3;
  }
  if (lead >= 0xF0 && lead <= 0xF4) {
    if (!tail(1) || !tail(2) || !tail(3)) return 0;
    if (lead == 0xF0 && second < 0x90) return 0;
    if (lead == 0xF4 && second > 0x8F) return 0;  // beyond U+10FFFF
    return 4;
  }
  return 0;
}

bool is_control(char letter) {
  return static_cast<std::uint8_t>(letter) < 0x20 || letter == 0x7f;
}

}  // namespace

std::string valid_utf8(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t bytes = sequence_bytes(text, at);
    out += bytes == 0 ? kReplacement : text.substr(at, bytes);
    at += bytes == 0 ? 1 : bytes;
  }
  return out;
}

std::string html(std::string_view text) {
  std::string out;
  for (const char letter : valid_utf8(text)) {
    switch (letter) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      case '\'':
        out += "&#39;";
        break;
      case '\t':
      case '\n':
      case '\r':
        out += letter;
        break;
      default:
        if (is_control(letter)) {
          out += kReplacement;
        } else {
          out += letter;
        }
    }
  }
  return out;
}

std::string terminal(std::string_view text) {
  std::string out;
  const std::string sound = valid_utf8(text);
  for (std::size_t at = 0; at < sound.size(); ++at) {
    // U+0080..U+009F are control characters too; some terminals obey them.
    const bool second_control_set = byte_at(sound, at) == 0xC2 && byte_at(sound, at + 1) < 0xA0;
    if (second_control_set) ++at;
    out += second_control_set || is_control(sound[at]) ? '?' : sound[at];
  }
  return out;
}

}  // namespace host::report
