// SPDX-License-Identifier: Apache-2.0
#include "host/heartbeat/beat.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <random>
#include <vector>

#include <fmt/format.h>

namespace host::heartbeat {
namespace {

constexpr std::string_view kMagic = "steadyrail-heartbeat";
constexpr std::string_view kVersion = "1";
constexpr std::string_view kFarewell = "bye";
constexpr std::size_t kFields = 7;
constexpr std::size_t kRunBytesMax = 32;
constexpr std::uint64_t kNumberMost = std::uint64_t{1} << 53;

bool is_word(std::string_view word, std::size_t least, std::size_t most) {
  return word.size() >= least && word.size() <= most && std::ranges::all_of(word, [](char letter) {
           return (letter >= '0' && letter <= '9') || (letter >= 'a' && letter <= 'z') ||
                  (letter >= 'A' && letter <= 'Z') || letter == '-';
         });
}

bool read_number(std::string_view text, std::uint64_t& into) {
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), into);
  return fault == std::errc{} && end == text.data() + text.size() && into <= kNumberMost;
}

/// Words between single spaces; empty where there are more than a beat has.
std::vector<std::string_view> split(std::string_view line) {
  std::vector<std::string_view> out;
  for (;;) {  // ends with the line
    const std::size_t space = line.find(' ');
    out.push_back(line.substr(0, space));
    if (out.size() > kFields + 1) return {};
    if (space == std::string_view::npos) return out;
    line.remove_prefix(space + 1);
  }
}

/// Two short words take the same time to compare wherever they differ: a stranger cannot feel his way to the token.
bool same_word(std::string_view left, std::string_view right) {
  if (left.size() != right.size()) return false;
  unsigned difference = 0;
  for (std::size_t i = 0; i < left.size(); ++i) difference |= static_cast<unsigned char>(left[i] ^ right[i]);
  return difference == 0;
}

}  // namespace

bool is_token(std::string_view word) {
  constexpr std::size_t kLeast = 4;
  constexpr std::size_t kMost = 32;
  return is_word(word, kLeast, kMost);
}

std::string to_text(const Beat& beat) {
  return fmt::format("{} {} {} {} {} {} {}{}\n", kMagic, kVersion, beat.token, beat.run, beat.number, beat.sender_ms,
                     beat.period.count(), beat.farewell ? " bye" : "");
}

std::expected<Beat, BeatFault> parse_beat(std::string_view datagram, std::string_view token) {
  constexpr auto kMalformed = std::unexpected(BeatFault::kMalformed);
  if (datagram.size() > kDatagramBytesMax) return kMalformed;
  while (datagram.ends_with('\n') || datagram.ends_with('\r')) datagram.remove_suffix(1);
  const auto words = split(datagram);
  if (words.size() < kFields || words[0] != kMagic || words[1] != kVersion || !is_token(words[2])) return kMalformed;
  Beat beat;
  std::uint64_t period_ms = 0;
  if (!is_word(words[3], 1, kRunBytesMax) || !read_number(words[4], beat.number) || beat.number == 0 ||
      !read_number(words[5], beat.sender_ms) || !read_number(words[6], period_ms)) {
    return kMalformed;
  }
  beat.period = std::chrono::milliseconds(period_ms);
  if (beat.period < kPeriodLeast || beat.period > kPeriodMost) return kMalformed;
  if (words.size() > kFields && words[kFields] != kFarewell) return kMalformed;
  if (!same_word(words[2], token)) return std::unexpected(BeatFault::kForeign);
  beat.token = words[2];
  beat.run = words[3];
  beat.farewell = words.size() > kFields;
  return beat;
}

std::string random_word() {
  constexpr std::string_view kLetters = "abcdefghijkmnpqrstuvwxyz23456789";  // none that is taken for another
  constexpr std::size_t kLength = 12;
  std::random_device source;
  std::string word;
  for (std::size_t i = 0; i < kLength; ++i) word += kLetters[source() % kLetters.size()];
  return word;
}

}  // namespace host::heartbeat
