// SPDX-License-Identifier: Apache-2.0
#include <charconv>

#include <fmt/format.h>

#include "host/app/verbs.h"
#include "host/heartbeat/beat.h"
#include "host/heartbeat/one_liner.h"
#include "host/heartbeat/sender.h"

namespace host::app {
namespace {

struct Target {
  std::string host;
  std::uint16_t port = 0;
};

/// HOST:PORT or [IPV6]:PORT.
std::expected<Target, std::string> target_of(const std::string& words) {
  const auto wrong = std::unexpected(
      fmt::format("heartbeat {}: name the recording computer and its port, HOST:PORT or [IPV6]:PORT", words));
  const std::size_t colon = words.rfind(':');
  if (colon == std::string::npos || colon == 0) return wrong;
  Target target{words.substr(0, colon)};
  const bool bracketed = target.host.starts_with('[') && target.host.ends_with(']');
  if (bracketed) target.host = target.host.substr(1, target.host.size() - 2);
  if (target.host.empty() || (!bracketed && target.host.find(':') != std::string::npos)) return wrong;
  const char* end = words.data() + words.size();
  const auto [at, fault] = std::from_chars(words.data() + colon + 1, end, target.port);
  if (fault != std::errc{} || at != end || target.port == 0) return wrong;
  return target;
}

}  // namespace

int heartbeat(const HeartbeatOptions& options, Terminal& terminal, const Interrupt& interrupt) {
  const auto target = target_of(options.target);
  if (!target) return terminal.complain(target.error());
  if (!heartbeat::is_token(options.token)) {
    return terminal.complain(
        "heartbeat: --token is the word that 'watch --heartbeat' printed: 4 to 32 letters, digits "
        "and hyphens");
  }
  if (options.period < heartbeat::kPeriodLeast || options.period > heartbeat::kPeriodMost) {
    return terminal.complain("heartbeat: --period lies between 100ms and 60s");
  }
  if (!options.one_liner.empty()) {
    const auto line =
        heartbeat::one_liner(options.one_liner, target->host, target->port, options.token, options.period);
    if (!line) return terminal.complain("heartbeat: " + line.error());
    terminal.out() << *line << '\n';
    return 0;
  }
  terminal.say(fmt::format("one beat every {:g} s to {}; Ctrl-C ends it in order",
                           std::chrono::duration<double>(options.period).count(), options.target));
  const auto sent = heartbeat::send_beats(
      {.host = target->host,
       .port = target->port,
       .token = options.token,
       .period = options.period,
       .duration = options.duration,
       .stop = interrupt.token()},
      [&](const heartbeat::Sent& so_far) {
        terminal.progress(fmt::format("{} sent, {} refused by the network", so_far.beats, so_far.failed));
      });
  terminal.end_progress();
  if (!sent) return terminal.complain(sent.error());
  if (options.json) {
    terminal.out() << fmt::format("{{\"sent\": {}, \"refused\": {}}}\n", sent->beats, sent->failed);
  } else {
    terminal.out() << fmt::format("{} sent, {} refused by the network; whether they arrived only 'watch' knows\n",
                                  sent->beats, sent->failed);
  }
  return sent->beats == 0 ? kExitNotFinished : 0;
}

}  // namespace host::app
