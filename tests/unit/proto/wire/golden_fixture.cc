// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <fstream>

#include "tests/unit/proto/wire/golden.h"

namespace wire {
namespace {

constexpr std::int16_t kLowLimit = 2000;    // of channel 16
constexpr std::int16_t kHighLimit = -8940;  // of channel 3

std::string trimmed(const std::string& text) {
  const auto first = text.find_first_not_of(' ');
  const auto last = text.find_last_not_of(' ');
  return first == std::string::npos ? "" : text.substr(first, last - first + 1);
}

std::vector<std::string> columns_of(const std::string& line) {
  std::vector<std::string> columns;
  std::size_t from = 0;
  for (std::size_t bar = line.find('|'); bar != std::string::npos; bar = line.find('|', from)) {
    columns.push_back(trimmed(line.substr(from, bar - from)));
    from = bar + 1;
  }
  columns.push_back(trimmed(line.substr(from)));
  return columns;
}

/// Pseudo-random numbers of the README: 0..65535.
class Sequence {
 public:
  std::uint32_t next() {
    state_ = state_ * 1664525 + 1013904223;
    return state_ >> 16;
  }

 private:
  std::uint32_t state_ = 1;
};

int busy_code(int channel, int scan, int r) {
  if (channel == 22) return r - 32768;
  if (channel == 23) return scan / 16 % 2 == 0 ? 32767 : -32768;
  const int code = 1000 * channel - 12000 + 40 * (channel % 5) * (scan / 300 % 3) + r % 64;
  return channel == 16 && r % 200 == 0 ? code - 9000 : code;
}

void add_window(const GoldenCodes& codes, std::size_t window, WindowBlock& block, std::size_t channel) {
  WindowColumns& columns = block.channels[channel];
  const std::size_t first = window * block.scans_per_window;
  columns.min[window] = columns.max[window] = codes[first][channel];
  std::int64_t sum = 0;
  std::int64_t squares = 0;
  for (std::size_t scan = first; scan < first + block.scans_per_window; ++scan) {
    const std::int16_t code = codes[scan][channel];
    columns.min[window] = std::min(columns.min[window], code);
    columns.max[window] = std::max(columns.max[window], code);
    sum += code;
    squares += static_cast<std::int64_t>(code) * code;
    columns.below[window] += channel == 16 && code < kLowLimit;
    columns.above[window] += channel == 3 && code > kHighLimit;
  }
  columns.sum[window] = static_cast<std::int32_t>(sum);
  columns.m2[window] = block.scans_per_window * squares - sum * sum;
}

}  // namespace

std::vector<GoldenLine> read_golden(const std::string& file) {
  std::ifstream in(std::string(STEADYRAIL_SOURCE_DIR "/proto/golden/") + file);
  std::vector<GoldenLine> lines;
  for (std::string line; std::getline(in, line);) {
    if (line.empty() || line[0] == '#') continue;
    const auto columns = columns_of(line);
    if (columns.size() != 4) return {};
    lines.push_back({columns[0], columns[1], columns[2], from_hex(columns[3])});
  }
  return lines;
}

GoldenLine find_golden(const std::string& file, const std::string& name) {
  for (const GoldenLine& line : read_golden(file)) {
    if (line.name == name) return line;
  }
  return {};
}

GoldenCodes golden_codes(const std::string& recipe, std::size_t scan_count) {
  Sequence sequence;
  GoldenCodes codes(scan_count);
  for (std::size_t scan = 0; scan < scan_count; ++scan) {
    for (std::size_t channel = 0; channel < kChannelCount; ++channel) {
      const int r = static_cast<int>(sequence.next());
      const int c = static_cast<int>(channel);
      const int code = recipe == "quiet" ? 1000 * c - 12000 + r % 4 : busy_code(c, static_cast<int>(scan), r);
      codes[scan][channel] = static_cast<std::int16_t>(code);
    }
  }
  return codes;
}

WindowBlock golden_windows(const std::string& recipe, std::uint32_t scans_per_window, std::uint32_t window_count) {
  const GoldenCodes codes = golden_codes(recipe, static_cast<std::size_t>(scans_per_window) * window_count);
  WindowBlock block{};
  block.scans_per_window = scans_per_window;
  block.window_count = window_count;
  for (std::size_t channel = 0; channel < kChannelCount; ++channel) {
    for (std::size_t window = 0; window < window_count; ++window) add_window(codes, window, block, channel);
  }
  return block;
}

std::string golden_word(const std::string& given, const std::string& key) {
  const auto at = given.find(key + "=");
  if (at == std::string::npos) return "";
  const auto from = at + key.size() + 1;
  return given.substr(from, given.find(' ', from) - from);
}

std::uint32_t golden_number(const std::string& given, const std::string& key) {
  const std::string word = golden_word(given, key);
  return word.empty() ? 0 : static_cast<std::uint32_t>(std::stoul(word, nullptr, 0));
}

}  // namespace wire
