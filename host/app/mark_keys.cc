// SPDX-License-Identifier: Apache-2.0
#include "host/app/mark_keys.h"

#include <poll.h>
#include <unistd.h>

#include <string>

#include "host/report/escape.h"

namespace host::app {
namespace {

constexpr int kLookEveryMs = 200;
constexpr std::size_t kWordsBytesMax = 400;  // a note is one frame
constexpr std::uint64_t kReactionUs = 2'000'000;

void read_lines(const std::stop_token& stop, int input, LiveSession& live, link::HostClock& clock) {
  std::string line;
  char bytes[256];
  while (!stop.stop_requested()) {
    pollfd ready{input, POLLIN, 0};
    if (poll(&ready, 1, kLookEveryMs) <= 0) continue;
    const ssize_t got = read(input, bytes, sizeof bytes);
    if (got <= 0) return;  // nobody is there to press a key
    for (const char byte : std::string_view(bytes, static_cast<std::size_t>(got))) {
      if (byte != '\n') {
        if (line.size() < kWordsBytesMax) line += byte;
        continue;
      }
      live.mark(key_mark(clock.now(), line));
      line.clear();
    }
  }
}

}  // namespace

steadyrail::proto::Mark key_mark(model::HostTime now, const std::string& line) {
  steadyrail::proto::Mark mark;
  const auto now_us = static_cast<std::uint64_t>(now.since_epoch.count());
  mark.set_from_utc_us(now_us > kReactionUs ? now_us - kReactionUs : 0);
  mark.set_to_utc_us(now_us);
  mark.set_source("key");
  mark.set_words(report::valid_utf8(line));
  mark.set_lock_up(true);
  return mark;
}

MarkKeys::MarkKeys(int input, LiveSession& live, link::HostClock& clock)
    : thread_([input, &live, &clock](const std::stop_token& stop) { read_lines(stop, input, live, clock); }) {}

}  // namespace host::app
