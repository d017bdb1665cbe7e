// SPDX-License-Identifier: Apache-2.0
#include "host/app/line_input.h"

#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <array>

namespace host::app {
namespace {

constexpr int kLookEveryMs = 200;
constexpr std::size_t kLineBytesMax = 4096;

}  // namespace

std::optional<std::string> LineInput::next() {
  for (;;) {  // ends with a line, the input or a stop
    if (const auto end = held_.find('\n'); end != held_.npos) {
      std::string line = held_.substr(0, std::min(end, kLineBytesMax));
      held_.erase(0, end + 1);
      if (line.ends_with('\r')) line.pop_back();
      return line;
    }
    if (ended_ || stop_.stop_requested()) return std::nullopt;
    pollfd ready{descriptor_, POLLIN, 0};
    if (poll(&ready, 1, kLookEveryMs) <= 0) continue;
    std::array<char, 512> bytes;
    const ssize_t got = read(descriptor_, bytes.data(), bytes.size());
    if (got <= 0) {
      ended_ = true;
      if (!held_.empty()) held_ += '\n';  // a last line without its end
      continue;
    }
    if (held_.size() < 2 * kLineBytesMax) held_.append(bytes.data(), static_cast<std::size_t>(got));
  }
}

}  // namespace host::app
