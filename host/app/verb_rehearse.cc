// SPDX-License-Identifier: Apache-2.0
#include <cmath>
#include <filesystem>

#include <fmt/format.h>

#include "host/app/kept_calibration.h"
#include "host/app/live_session.h"
#include "host/app/live_setup.h"
#include "host/app/lock_step.h"
#include "host/app/nearest.h"
#include "host/app/outputs.h"
#include "host/app/rehearsed_heartbeat.h"
#include "host/app/results.h"
#include "host/app/scan_thread.h"
#include "host/app/verbs.h"
#include "host/app/virtual_jig.h"
#include "host/report/summary.h"
#include "host/simulate/scenario.h"
#include "host/simulate/supply.h"

namespace host::app {
namespace {

constexpr const char* kDefaultUnit = "u-1";
constexpr std::int64_t kStartedUtcUs =
    1'767'225'600'000'000;                            // 2026-01-01T00:00:00Z: a rehearsal has no date of its own
constexpr std::uint64_t kSpareScans = 60ULL * 32000;  // real pace: served until the session has ended

int list_scenarios(Terminal& terminal) {
  std::vector<std::vector<std::string>> rows;
  for (const simulate::Scenario& scenario : simulate::scenarios()) {
    rows.push_back({std::string(scenario.name), std::string(scenario.description)});
  }
  terminal.out() << report::text_table({"scenario (simulated)", "what it is"}, rows);
  return 0;
}

std::expected<void, std::string> check_scenario(const std::string& name) {
  std::vector<std::string> known;
  for (const simulate::Scenario& scenario : simulate::scenarios()) {
    if (scenario.name == name) return {};
    known.emplace_back(scenario.name);
  }
  return std::unexpected(unknown_word("scenario", name, known));
}

/// Whole half seconds of scans: commands fall between them.
std::uint64_t scans_of(std::chrono::milliseconds duration, double scan_rate_hz) {
  const double scans = std::chrono::duration<double>(duration).count() * scan_rate_hz;
  const auto hooks = static_cast<std::uint64_t>(std::ceil(scans / static_cast<double>(simulate::kHookInterval)));
  return hooks * simulate::kHookInterval;
}

LiveSetup set_up(const RehearseOptions& options, const model::Jig& jig, const Judging& judging) {
  LiveSetup setup = begin_setup(jig, judging, options.baud);
  setup.header.set_started_utc_us(kStartedUtcUs);
  setup.header.set_simulated(true);
  setup.header.set_scenario(options.scenario);
  setup.header.set_seed(options.seed);
  setup.header.set_question(options.question);
  setup.header.set_port("virtual");
  setup.header.set_already_checked(true);
  setup.session.port_label = "virtual";
  setup.session.times.reconnect_for = std::chrono::milliseconds(0);  // a jig that died does not come back
  if (options.pace == Pace::kFree) {
    setup.session.keep_alive = link::KeepAlive::kExternal;
    // A command repeated because this machine was busy would change the bytes.
    setup.session.times = link::SessionTimes::patient();
  } else {
    setup.session.duration = options.duration;
  }
  setup.out = options.out;
  setup.force = options.force;
  return setup;
}

/// `beats` may be null.
simulate::ServeOptions serving(const RehearseOptions& options, simulate::Supply& supply, LockStep& step,
                               RehearsedHeartbeat* beats, std::uint64_t end_scan) {
  if (options.pace == Pace::kFree) {
    simulate::ServeOptions out = ScanThread::in_step(step, end_scan);
    out.before_scan = [&step, &supply, beats](std::uint64_t scan) {
      if (beats != nullptr) beats->pc(scan, supply.pc_works());
      return step.before_scan(scan);
    };
    return out;
  }
  simulate::ServeOptions out;
  out.pace = simulate::Pace::kReal;
  out.duration_scans = end_scan + kSpareScans;
  return out;
}

int run(const RehearseOptions& options, const model::Jig& jig, const Judging& judging, Terminal& terminal,
        const Interrupt& interrupt, const std::string& program_folder) {
  auto supply = simulate::Supply::create(options.scenario, options.seed, jig, {.from_standby = options.from_standby});
  if (!supply) return terminal.complain(supply.error());
  const std::string program = (std::filesystem::path(program_folder) / "steadyrail-virtual-jig").string();
  const auto virtual_jig =
      VirtualJig::start(program, jig.description().id(), "observe", options.pace == Pace::kFree ? "wait" : "drop");
  if (!virtual_jig) return terminal.complain(virtual_jig.error(), kExitNotFinished);

  LiveSetup setup = set_up(options, jig, judging);
  setup.session.port = (*virtual_jig)->terminal();
  setup.session.stop = interrupt.token();
  const auto asked = give_calibration(setup.session, jig);
  if (!asked) return terminal.complain(asked.error(), kExitNotFinished);
  read_by(with_kept_calibration(jig, asked->calibration).jig, setup);
  const std::uint64_t end_scan = scans_of(options.duration, jig.scan_rate_hz());
  link::SimulatedClock simulated_clock(model::HostTime{std::chrono::microseconds(kStartedUtcUs)}, jig.scan_rate_hz(),
                                       options.seed);
  link::RealClock real_clock(model::HostTime{std::chrono::microseconds(kStartedUtcUs)});
  link::HostClock& clock = options.pace == Pace::kFree ? static_cast<link::HostClock&>(simulated_clock) : real_clock;
  std::optional<RehearsedHeartbeat> beats;
  if (options.heartbeat) {
    beats.emplace(kStartedUtcUs, jig.scan_rate_hz());
    setup.session.notes_due = [&beats](auto scan) { return beats->notes_due(scan); };
  }
  LockStep step(end_scan, asked->frames_written);
  auto live = LiveSession::create(std::move(setup), clock, terminal, &step);
  if (!live) return terminal.complain(live.error());
  step.attach((*live)->session());
  ScanThread thread((*virtual_jig)->scan_socket(), *supply, step,
                    serving(options, *supply, step, beats ? &*beats : nullptr, end_scan));
  const auto report = (*live)->run();
  step.session_over();
  const auto served = thread.join();
  if (!report) return terminal.complain(report.error().message, exit_status(report.error().fault));
  const int status = (*live)->conclude_run(*report, options.files);
  if (!served) return terminal.complain("the simulated supply: " + served.error(), kExitNotFinished);
  return status;
}

}  // namespace

int rehearse(const RehearseOptions& options, Terminal& terminal, const Interrupt& interrupt,
             const std::string& program_folder) {
  if (options.scenario == "list") return list_scenarios(terminal);
  terminal.print_caution();
  terminal.say("Rehearsal: everything from here on is simulated.");
  if (const auto known = check_scenario(options.scenario); !known) return terminal.complain(known.error());
  if (options.heartbeat && options.pace != Pace::kFree) {
    return terminal.complain("rehearse: --heartbeat goes with --pace free");
  }
  std::vector<OutputName> outputs = output_names(options.files);
  outputs.push_back({"--out", options.out});
  if (const auto checked = check_outputs(outputs, {}); !checked) return terminal.complain(checked.error());
  const auto jig = load_jig(options.jig);
  if (!jig) return terminal.complain(jig.error());
  JudgeOptions judge = options.judge;
  if (judge.unit.empty()) judge.unit = kDefaultUnit;
  const auto judging = load_judging(judge, std::nullopt, "");
  if (!judging) return terminal.complain(judging.error());
  return run(options, *jig, *judging, terminal, interrupt, program_folder);
}

}  // namespace host::app
