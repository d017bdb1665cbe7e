// SPDX-License-Identifier: Apache-2.0
#include <atomic>
#include <chrono>
#include <ctime>
#include <filesystem>
#include <iostream>

#include <fmt/chrono.h>
#include <fmt/format.h>

#include "host/app/kept_calibration.h"
#include "host/app/live_session.h"
#include "host/app/live_setup.h"
#include "host/app/load_run.h"
#include "host/app/outputs.h"
#include "host/app/results.h"
#include "host/app/scan_thread.h"
#include "host/app/self_test_record.h"
#include "host/app/verbs.h"
#include "host/app/virtual_jig.h"
#include "host/report/json.h"
#include "host/report/summary.h"
#include "host/report/words.h"
#include "host/simulate/supply.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr const char* kCautions =
    "DANGER: this switches a supply on and draws hundreds of watts from it.\n"
    "  1. NO PC, no monitor, no card: only the supply and the load bank. The jig's key stands in bench.\n"
    "  2. The load resistors get hot enough to burn and to light things: metal or ceramic, on metal, nothing above "
    "them,\n"
    "     fans turning. They stay hot for minutes after the end.\n"
    "  3. A shorted load resistor or a reversed plug drives hundreds of amperes until the branch's fuse opens; a "
    "switch\n"
    "     that fails short goes on drawing its current, and nothing but the switch at the outlet ends that.\n"
    "  4. Stay beside it, a hand near the outlet's switch. Ctrl-C switches the gates off and the supply with them;\n"
    "     if this computer dies the jig does it by itself within a second.\n";
constexpr std::int64_t kVirtualStartUtcUs = 1'767'225'600'000'000;  // 2026-01-01T00:00:00Z: as a rehearsal's

std::string amps(double value) {
  return fmt::format("{:.2f} A", value);
}

void print_plan(const proto::LoadPlan& plan, Terminal& terminal) {
  std::ostream& out = terminal.out();
  out << fmt::format("Load programme {} on jig {}, unit {}{}\n", plan.programme(), plan.jig(), plan.unit(),
                     plan.why().empty() ? "" : ": " + plan.why());
  std::vector<std::vector<std::string>> rows;
  for (const proto::PlannedPhase& phase : plan.phases()) {
    std::string rails;
    for (const proto::PlannedRail& rail : phase.rails()) {
      rails += (rails.empty() ? "" : ", ") + rail.label() + " " + amps(rail.amps_most());
    }
    rows.push_back({phase.name(), rails, fmt::format("{:.0f} W", phase.power_w_most()),
                    fmt::format("{:.0f} W", phase.power_w_mean()), fmt::format("{:.0f} J", phase.energy_j()),
                    std::to_string(phase.rounds()), report::time_span(phase.duration_s()),
                    report::time_span(phase.rest_s())});
  }
  out << report::text_table({"phase", "most at once", "", "mean", "energy", "rounds", "lasts", "rest"}, rows);
  std::vector<std::vector<std::string>> limits;
  for (const proto::PlannedRail& rail : plan.rails()) {
    limits.push_back({rail.label(), amps(rail.amps_most()), amps(rail.amps_allowed())});
  }
  limits.push_back(
      {"all together", fmt::format("{:.0f} W", plan.power_w_most()), fmt::format("{:.0f} W", plan.power_w_allowed())});
  limits.push_back({"heat in the bank", fmt::format("{:.0f} J", plan.heat_j_most()),
                    fmt::format("{:.0f} J", plan.energy_j_allowed())});
  out << "\n" << report::text_table({"", "at most", "bank and label allow"}, limits);
  out << fmt::format("\nThe supply is on for about {}; {:.0f} J go into the load bank.\n",
                     report::time_span(plan.duration_s()), plan.energy_j());
}

bool confirmed(const LoadOptions& options, Terminal& terminal, bool ask) {
  terminal.say(kCautions);
  if (options.yes || options.port == kVirtualPort) return true;
  if (!ask) {
    terminal.complain("load: read the cautions and do what they say, then say so with --yes");
    return false;
  }
  terminal.say("Type 'load' to begin; anything else ends here.");
  std::string word;
  std::getline(std::cin, word);
  if (word == "load") return true;
  terminal.complain("load: not confirmed, nothing was switched on");
  return false;
}

/// Plays the programme while the session runs; every refusal leaves the load off.
class LoadDriver : public LiveListener {
 public:
  LoadDriver(LoadRun& run, const model::Jig& jig, const LoadOptions& options, Terminal& terminal)
      : run_(run), jig_(jig), options_(options), terminal_(terminal) {}

  /// Before the session runs. `step`: the session is in step with a simulated supply; else null, and the wall's clock
  /// counts.
  void attach(link::Session& session, LockStep* step) {
    session_ = &session;
    step_ = step;
    if (step == nullptr) return;
    step->ask([this](std::uint64_t scan) -> LockStep::Due {
      wait_for_answer();
      const LoadRun::Next next = run_.next(static_cast<double>(scan) / jig_.scan_rate_hz());
      return {next.command, next.over};
    });
  }

  void hello(const proto::Hello& hello, std::uint32_t boot) override {
    if (hello.mode() != proto::JIG_MODE_BENCH) {
      return refuse(
          fmt::format("the jig's key says {}: a load bank is driven in bench only, with no PC attached. Turn the key "
                      "and begin again",
                      hello.mode() == proto::JIG_MODE_OBSERVE ? "observe" : "neither mode"));
    }
    const std::string file =
        options_.self_test.empty() ? self_test_file(hello.jig_id(), hello.simulated()) : options_.self_test;
    if (const std::string why = self_test_refusal(file, jig_, hello, boot); !why.empty()) refuse(why);
  }
  void started() override {
    if (started_at_) run_.restarted();
    started_at_ = std::chrono::steady_clock::now();
    if (step_ != nullptr) step_->started();
  }
  void command_written(std::uint32_t count, const proto::HostToJig& command) override {
    if (step_ != nullptr) step_->command_written(count, command);
  }
  void command_answered(const proto::HostToJig& command, const proto::Acknowledgement& answer) override {
    run_.answered(command, answer);
  }
  void status(const proto::Status& status) override {
    run_.heard(status);
    if (const std::string failure = run_.failure(); !failure.empty() && !told_) {
      told_ = true;
      terminal_.say(failure);
    }
  }
  void tick() override {
    if (step_ != nullptr || !started_at_) return;
    const std::chrono::duration<double> since = std::chrono::steady_clock::now() - *started_at_;
    const LoadRun::Next next = run_.next(since.count());
    if (next.command) session_->request(*next.command);
    if (next.over) session_->request_stop();
  }
  const std::string& refusal() const { return refusal_; }
  /// Nobody answers any more.
  void session_over() { over_ = true; }

 private:
  void refuse(const std::string& why) {
    refusal_ = why;
    run_.break_off(why);
    session_->request_stop();
  }
  void wait_for_answer() const {
    constexpr std::chrono::milliseconds kLook{1};
    constexpr int kLooksMost = 10'000;
    for (int k = 0; k < kLooksMost && run_.waiting() && !over_; ++k) std::this_thread::sleep_for(kLook);
  }

  LoadRun& run_;
  const model::Jig& jig_;
  const LoadOptions& options_;
  Terminal& terminal_;
  link::Session* session_ = nullptr;
  LockStep* step_ = nullptr;
  std::optional<std::chrono::steady_clock::time_point> started_at_;
  std::string refusal_;  // before anything was switched on
  bool told_ = false;
  std::atomic<bool> over_ = false;
};

LiveSetup set_up(const LoadOptions& options, const model::Jig& jig, const Judging& judging, std::int64_t now_us) {
  const bool simulated = options.port == kVirtualPort;
  LiveSetup setup = begin_setup(jig, judging, options.baud);
  setup.header.set_started_utc_us(static_cast<std::uint64_t>(now_us));
  setup.header.set_simulated(simulated);
  if (simulated) setup.header.set_scenario(options.scenario);
  if (simulated) setup.header.set_seed(options.seed);
  setup.header.set_question(options.question);
  setup.header.set_port(options.port);
  setup.header.set_already_checked(true);
  setup.session.port = options.port;
  setup.session.when_interrupted = LoadRun::all_off();
  setup.session.times.reconnect_for = std::chrono::milliseconds(0);  // a line that went has switched the load off
  setup.out = options.out;
  if (setup.out.empty() && !simulated) {
    setup.out = fmt::format("load-{:%Y%m%d-%H%M%S}.steadyrail", fmt::gmtime(std::time(nullptr)));
  }
  setup.force = options.force;
  return setup;
}

int finish(LiveSession& live, const std::expected<link::SessionReport, link::LinkError>& report,
           const LoadDriver& driver, const LoadRun& run, const proto::LoadPlan& plan, const LoadOptions& options,
           Terminal& terminal) {
  if (!driver.refusal().empty()) return terminal.complain("load: " + driver.refusal());
  if (!report) return terminal.complain(report.error().message, exit_status(report.error().fault));
  const int status = live.conclude_run(*report, options.files);
  std::string why = run.failure();
  if (why.empty() && report->end != link::SessionEnd::kFinished) why = std::string(link::to_string(report->end));
  if (why.empty()) return status;
  return terminal.complain(
      fmt::format("load: broken off in phase {} of {}: {}", run.phases_played(), plan.phases_size(), why),
      kExitNotFinished);
}

int run_real(const LoadOptions& options, const model::Jig& jig, const Judging& judging,
             const label::CheckedProgramme& programme, Terminal& terminal, const Interrupt& interrupt) {
  link::RealClock clock;
  LiveSetup setup = set_up(options, jig, judging, clock.now().since_epoch.count());
  setup.session.stop = interrupt.token();
  const auto remark = read_by_kept_calibration(jig, setup);
  if (!remark) return terminal.complain(remark.error().message, exit_status(remark.error().fault));
  if (!remark->empty()) terminal.say(*remark);
  LoadRun run(programme);
  LoadDriver driver(run, jig, options, terminal);
  auto live = LiveSession::create(std::move(setup), clock, terminal, &driver);
  if (!live) return terminal.complain(live.error());
  driver.attach((*live)->session(), nullptr);
  const auto report = (*live)->run();
  return finish(**live, report, driver, run, programme.plan, options, terminal);
}

int run_virtual(const LoadOptions& options, const model::Jig& jig, const Judging& judging,
                const label::CheckedProgramme& programme, Terminal& terminal, const Interrupt& interrupt,
                const std::string& program_folder) {
  auto supply = simulate::Supply::create(options.scenario, options.seed, jig, {.load_bank = true});
  if (!supply) return terminal.complain(supply.error());
  const std::string program = (std::filesystem::path(program_folder) / "steadyrail-virtual-jig").string();
  const auto virtual_jig = VirtualJig::start(program, jig.description().id(), "bench", "wait");
  if (!virtual_jig) return terminal.complain(virtual_jig.error(), kExitNotFinished);
  LiveSetup setup = set_up(options, jig, judging, kVirtualStartUtcUs);
  setup.session.port = (*virtual_jig)->terminal();
  setup.session.port_label = kVirtualPort;
  setup.session.keep_alive = link::KeepAlive::kExternal;
  setup.session.times = link::SessionTimes::patient();
  setup.session.stop = interrupt.token();
  const auto asked = give_calibration(setup.session, jig);
  if (!asked) return terminal.complain(asked.error(), kExitNotFinished);
  read_by(with_kept_calibration(jig, asked->calibration).jig, setup);
  link::SimulatedClock clock(model::HostTime{std::chrono::microseconds(kVirtualStartUtcUs)}, jig.scan_rate_hz(),
                             options.seed);
  // Commands fall between half seconds: every wait may be rounded up to one, and there are three more for the ends.
  const double most_s = programme.plan.duration_s() + programme.plan.phases_size() + 10;
  const auto end_scan = static_cast<std::uint64_t>(most_s) * 2 * simulate::kHookInterval;
  LockStep step(end_scan, asked->frames_written);
  LoadRun run(programme);
  LoadDriver driver(run, jig, options, terminal);
  auto live = LiveSession::create(std::move(setup), clock, terminal, &driver);
  if (!live) return terminal.complain(live.error());
  step.attach((*live)->session());
  driver.attach((*live)->session(), &step);
  ScanThread thread((*virtual_jig)->scan_socket(), *supply, step, ScanThread::in_step(step, end_scan));
  const auto report = (*live)->run();
  driver.session_over();
  step.session_over();
  const auto served = thread.join();
  const int status = finish(**live, report, driver, run, programme.plan, options, terminal);
  if (report && !served) return terminal.complain("the simulated supply: " + served.error(), kExitNotFinished);
  return status;
}

int dry_run(const LoadOptions& options, const proto::LoadPlan& plan, Terminal& terminal) {
  if (options.files.json.empty()) return 0;
  const auto json = report::to_json(plan);
  if (!json) return terminal.complain(json.error());
  const auto written = write_file(options.files.json, *json);
  return written ? 0 : terminal.complain(written.error(), kExitNotFinished);
}

}  // namespace

int load(const LoadOptions& options, Terminal& terminal, const Interrupt& interrupt, bool ask,
         const std::string& program_folder) {
  terminal.print_caution();
  if (options.port.empty() && !options.dry_run) {
    return terminal.complain("load: name the jig's port ('steadyrail ports' lists them), or --dry-run");
  }
  if (options.judge.unit.empty()) {
    return terminal.complain("load: name the supply's label with --unit: nothing is drawn that it does not allow");
  }
  std::vector<OutputName> outputs = output_names(options.files);
  outputs.push_back({"--out", options.out});
  if (const auto checked = check_outputs(outputs, {}); !checked) return terminal.complain(checked.error());
  const auto jig = load_jig(options.jig);
  if (!jig) return terminal.complain(jig.error());
  const auto judging = load_judging(options.judge, std::nullopt, "");
  if (!judging) return terminal.complain(judging.error());
  const auto text = load_text("programmes", "load programme", options.programme);
  if (!text) return terminal.complain(text.error());
  const auto programme = label::check_programme(text->text, text->file, *jig, *judging->unit);
  if (!programme) return terminal.complain(model::to_string(programme.error()));
  print_plan(programme->plan, terminal);
  if (options.dry_run) return dry_run(options, programme->plan, terminal);
  if (!confirmed(options, terminal, ask)) return kExitWrongUse;
  if (options.port == kVirtualPort) {
    terminal.say("Everything from here on is simulated.");
    return run_virtual(options, *jig, *judging, *programme, terminal, interrupt, program_folder);
  }
  return run_real(options, *jig, *judging, *programme, terminal, interrupt);
}

}  // namespace host::app
