// SPDX-License-Identifier: Apache-2.0
#include <unistd.h>

#include <ctime>
#include <iostream>
#include <string>

#include <fmt/chrono.h>
#include <fmt/format.h>

#include "host/app/configure.h"
#include "host/app/live_session.h"
#include "host/app/mark_keys.h"
#include "host/app/outputs.h"
#include "host/app/results.h"
#include "host/app/sha256.h"
#include "host/app/verbs.h"
#include "host/detect/arm.h"
#include "host/diagnose/lock_ups.h"
#include "host/model/jig_budget.h"

namespace host::app {
namespace {

constexpr const char* kHookUp =
    "Hook-up order, before anything is recorded:\n"
    "  1. Mains off at the outlet. Every output, +5VSB included, below 0.5 V before a plug is mated.\n"
    "  2. First power-up with NO PC: every connector carries the rail that belongs to it.\n"
    "  3. Mains off again. Outputs above 0.1 V now are fed back by the PC, a monitor or a hub: find it first.\n"
    "  4. Only then the PC. The recording computer is not the PC under test, and shares no USB lead with it.\n";

/// Whether the hook-up order was gone through, by the user's own word.
bool hooked_up(const WatchOptions& options, Terminal& terminal, bool ask) {
  if (options.already_checked) return true;
  terminal.say(kHookUp);
  if (!ask) {
    terminal.complain("watch: go through the hook-up order, then say so with --already-checked");
    return false;
  }
  terminal.say("Type 'checked' when all four are done; anything else ends here.");
  std::string word;
  std::getline(std::cin, word);
  if (word == "checked") return true;
  terminal.complain("watch: not checked, nothing recorded");
  return false;
}

std::string default_recording() {
  return fmt::format("session-{:%Y%m%d-%H%M%S}.steadyrail", fmt::gmtime(std::time(nullptr)));
}

LiveSetup set_up(const WatchOptions& options, const model::Jig& jig, const Judging& judging, link::HostClock& clock) {
  LiveSetup setup;
  setup.judging = judging;
  setup.header.set_started_utc_us(static_cast<std::uint64_t>(clock.now().since_epoch.count()));
  *setup.header.mutable_jig() = model::for_recording(jig.description());
  if (judging.unit) *setup.header.mutable_unit() = *judging.unit;
  if (judging.limits) {
    setup.header.set_edition(judging.limits->set.edition());
    setup.header.set_limits_sha256(sha256(judging.limits->text));
  }
  setup.header.set_question(options.question);
  setup.header.set_port(options.port);
  setup.header.set_already_checked(options.already_checked);
  setup.header.set_symptom(options.symptom);
  *setup.header.mutable_declaration() = diagnose::default_declaration();
  setup.session.port = options.port;
  setup.session.settings.baud = options.baud;
  setup.session.configure = configuration(jig, options.baud);
  setup.session.arm = detect::arm_limits(jig, judging.limits ? &judging.limits->set : nullptr);
  setup.session.jig_id = jig.description().id();
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
  if (!hooked_up(options, terminal, ask)) return kExitWrongUse;
  link::RealClock clock;
  LiveSetup setup = set_up(options, *jig, *judging, clock);
  setup.session.stop = interrupt.token();
  auto live = LiveSession::create(std::move(setup), clock, terminal, nullptr);
  if (!live) return terminal.complain(live.error());
  terminal.say("If the PC locks up, press Enter here (with a word before it, if you like), or the jig's button.");
  const MarkKeys keys(STDIN_FILENO, **live, clock);
  const auto report = (*live)->run();
  if (!report) return terminal.complain(report.error().message, exit_status(report.error().fault));
  return (*live)->conclude_run(*report, options.files);
}

}  // namespace host::app
