// SPDX-License-Identifier: Apache-2.0
#include <unistd.h>

#include <ctime>
#include <string>

#include <fmt/chrono.h>
#include <fmt/format.h>

#include "host/app/heartbeat_watch.h"
#include "host/app/hook_up.h"
#include "host/app/live_session.h"
#include "host/app/live_setup.h"
#include "host/app/mark_keys.h"
#include "host/app/outputs.h"
#include "host/app/results.h"
#include "host/app/verbs.h"
#include "host/detect/hook_up_levels.h"

namespace host::app {
namespace {

/// What stands on the inputs just now: a session of a second that nobody keeps.
std::expected<detect::LevelMeter, std::string> read_levels(const LiveSetup& setup, link::HostClock& clock,
                                                           const std::stop_token& stop) {
  class Quiet : public link::SessionEvents {};
  constexpr std::chrono::seconds kLook{1};
  link::SessionOptions options = setup.session;
  options.duration = kLook;
  options.arm.reset();
  options.notes_due = {};
  options.times.reconnect_for = std::chrono::milliseconds(0);
  options.stop = stop;
  detect::LevelMeter levels;
  decode::Decoder decoder(levels);
  Quiet quiet;
  link::Session session(options, setup.header, clock, nullptr, decoder, quiet);
  if (const auto report = session.run(); !report) return std::unexpected(report.error().message);
  if (!levels.any()) return std::unexpected(options.port + ": the jig sent no reading");
  return levels;
}

/// The hook-up order, gone through or declared, into the header. False: nothing may be recorded; the user knows why.
bool hooked_up(const WatchOptions& options, const model::Jig& jig, LiveSetup& setup, link::HostClock& clock,
               Terminal& terminal, const std::stop_token& stop, bool ask) {
  if (options.already_checked) return true;
  if (!ask) {
    terminal.say(hook_up_order());
    terminal.complain("watch: go through the hook-up order, then say so with --already-checked");
    return false;
  }
  HookUp order(jig, STDIN_FILENO, terminal, [&] { return read_levels(setup, clock, stop); }, stop);
  auto done = order.run();
  if (!done) {
    terminal.complain("watch: " + done.error());
    return false;
  }
  *setup.header.mutable_hook_up() = std::move(*done);
  return true;
}

std::string default_recording() {
  return fmt::format("session-{:%Y%m%d-%H%M%S}.steadyrail", fmt::gmtime(std::time(nullptr)));
}

LiveSetup set_up(const WatchOptions& options, const model::Jig& jig, const Judging& judging) {
  LiveSetup setup = begin_setup(jig, judging, options.baud);
  setup.header.set_question(options.question);
  setup.header.set_port(options.port);
  setup.header.set_already_checked(options.already_checked);
  setup.header.set_symptom(options.symptom);
  if (options.lock_up_window) {
    setup.header.mutable_declaration()->set_window_s(std::chrono::duration<double>(*options.lock_up_window).count());
  }
  setup.session.port = options.port;
  setup.session.duration = options.duration;
  setup.out = options.out.empty() ? default_recording() : options.out;
  setup.force = options.force;
  return setup;
}

}  // namespace

int watch(const WatchOptions& options, Terminal& terminal, const Interrupt& interrupt, bool ask) {
  terminal.print_caution();
  std::vector<OutputName> outputs = output_names(options.files);
  outputs.push_back({"--out", options.out});
  if (const auto checked = check_outputs(outputs, {}); !checked) return terminal.complain(checked.error());
  const auto jig = load_jig(options.jig);
  if (!jig) return terminal.complain(jig.error());
  const auto judging = load_judging(options.judge, std::nullopt, "");
  if (!judging) return terminal.complain(judging.error());
  if (!judging->limits)
    terminal.say("No edition named (--limits, or a --unit that names one): nothing will be judged.");
  std::unique_ptr<HeartbeatWatch> beats;
  if (!options.heartbeat.empty()) {
    auto started = HeartbeatWatch::start(options.heartbeat, options.heartbeat_token);
    if (!started) return terminal.complain(started.error());
    beats = std::move(*started);
    terminal.say(beats->instruction());
  } else if (!options.heartbeat_token.empty()) {
    return terminal.complain("watch: --heartbeat-token goes with --heartbeat");
  }
  link::RealClock clock;
  LiveSetup setup = set_up(options, *jig, *judging);
  if (!hooked_up(options, *jig, setup, clock, terminal, interrupt.token(), ask)) return kExitWrongUse;
  setup.session.stop = interrupt.token();
  const auto remark = read_by_kept_calibration(*jig, setup);
  if (!remark) return terminal.complain(remark.error().message, exit_status(remark.error().fault));
  if (!remark->empty()) terminal.say(*remark);
  setup.header.set_started_utc_us(static_cast<std::uint64_t>(clock.now().since_epoch.count()));
  if (beats) setup.session.notes_due = [&beats](auto scan) { return beats->notes_due(!scan); };
  auto live = LiveSession::create(std::move(setup), clock, terminal, beats.get());
  if (!live) return terminal.complain(live.error());
  terminal.say("If the PC locks up, press Enter here (with a word before it, if you like), or the jig's button.");
  const MarkKeys keys(STDIN_FILENO, **live, clock);
  const auto report = (*live)->run();
  if (!report) return terminal.complain(report.error().message, exit_status(report.error().fault));
  return (*live)->conclude_run(*report, options.files);
}

}  // namespace host::app
