// SPDX-License-Identifier: Apache-2.0
#include <chrono>
#include <cmath>
#include <filesystem>
#include <iostream>
#include <thread>

#include <fmt/format.h>

#include "host/app/configure.h"
#include "host/app/judging.h"
#include "host/app/live_session.h"
#include "host/app/outputs.h"
#include "host/app/scan_thread.h"
#include "host/app/self_test_record.h"
#include "host/app/self_test_run.h"
#include "host/app/verbs.h"
#include "host/app/virtual_jig.h"
#include "host/report/json.h"
#include "host/report/summary.h"
#include "host/report/words.h"
#include "host/selftest/setup.h"
#include "host/simulate/test_plugs.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr const char* kBefore =
    "Before the self-test: NOTHING is connected to the jig but its test plugs and its own 5 V: no supply, no PC, no "
    "load\n"
    "bank. A supply that was on: off at the outlet, and every output below 0.5 V, before a plug is pulled.\n";
constexpr std::int64_t kVirtualStartUtcUs = 1'767'225'600'000'000;  // 2026-01-01T00:00:00Z: as a rehearsal's
constexpr int kExitFail = 1;
constexpr int kExitUndecided = 4;

bool confirmed(const SelfTestOptions& options, Terminal& terminal, bool ask) {
  terminal.say(kBefore);
  if (options.yes || options.port == kVirtualPort) return true;
  if (!ask) {
    terminal.complain("selftest: see to it that nothing else is connected, then say so with --yes");
    return false;
  }
  terminal.say("Type 'nothing' when nothing else is connected; anything else ends here.");
  std::string word;
  std::getline(std::cin, word);
  if (word == "nothing") return true;
  terminal.complain("selftest: not confirmed, nothing was measured");
  return false;
}

/// The setup named, else the one that ships for this jig.
std::expected<proto::TestSetup, std::string> load_setup(const std::string& name, const model::Jig& jig) {
  const auto read = [&](const std::string& one) -> std::expected<proto::TestSetup, std::string> {
    const auto text = load_text("selftests", "self-test setup", one);
    if (!text) return std::unexpected(text.error());
    auto setup = selftest::setup_from_text(text->text, text->file, jig);
    if (!setup) return std::unexpected(model::to_string(setup.error()));
    return std::move(*setup);
  };
  if (!name.empty()) return read(name);
  for (const std::string& shipped : model::shipped_descriptions("selftests")) {
    if (auto setup = read(shipped)) return setup;
  }
  return std::unexpected(
      fmt::format("no setup of source and test plugs ships for jig {}: name one with --setup", jig.description().id()));
}

link::SessionOptions session_options(const SelfTestOptions& options, const proto::TestSetup& setup,
                                     const model::Jig& jig) {
  link::SessionOptions out;
  out.port = options.port;
  out.settings.baud = options.baud;
  out.configure = configuration(jig, options.baud);
  out.configure.clear_step_triggers();  // nothing loads a rail here
  out.arm = selftest::arm_for(setup, jig);
  out.jig_id = jig.description().id();
  out.times.reconnect_for = std::chrono::milliseconds(0);
  out.when_interrupted.resize(1);
  out.when_interrupted[0].mutable_join_source();
  return out;
}

/// What a run in step with a simulation needs beside the run itself, and what one on a real line does.
class Drive : public link::SessionEvents {
 public:
  Drive(SelfTestRun& run, Terminal& terminal) : run_(run), terminal_(terminal) {}

  void attach(link::Session& session, LockStep* step) {
    session_ = &session;
    step_ = step;
    if (step == nullptr) return;
    step->ask([this](std::uint64_t) -> LockStep::Due {
      constexpr std::chrono::milliseconds kLook{1};
      constexpr int kLooksMost = 10'000;
      for (int k = 0; k < kLooksMost && run_.gathering() && !over_; ++k) std::this_thread::sleep_for(kLook);
      const SelfTestRun::Next next = run_.next();
      return {next.command, next.over};
    });
  }
  void session_over() { over_ = true; }

  void hello(const proto::Hello& hello, std::uint32_t boot) override {
    terminal_.say(
        fmt::format("jig {}, firmware {}{}", hello.jig_id(), hello.firmware(), hello.simulated() ? ", simulated" : ""));
    run_.hello(hello, boot);
  }
  void started(std::uint64_t scan) override {
    run_.started(scan);
    if (step_ != nullptr) step_->started();
  }
  void command_written(std::uint32_t count, const proto::HostToJig& command) override {
    if (step_ != nullptr) step_->command_written(count, command);
  }
  void command_answered(const proto::HostToJig& command, const proto::Acknowledgement& answer) override {
    run_.command_answered(command, answer);
  }
  void status(const proto::Status& status) override { run_.status(status); }
  void remark(const std::string& words) override { terminal_.say(words); }
  void tick() override {
    terminal_.progress(fmt::format("{} of {}", run_.done(), run_.planned()));
    if (step_ != nullptr) return;
    const SelfTestRun::Next next = run_.next();
    if (next.command) session_->request(*next.command);
    if (next.over) session_->request_stop();
  }

 private:
  SelfTestRun& run_;
  Terminal& terminal_;
  link::Session* session_ = nullptr;
  LockStep* step_ = nullptr;
  std::atomic<bool> over_ = false;
};

/// What the time marks say of the sample clock; the line's own doubt spread over the session.
std::optional<selftest::ClockSeen> clock_of(const decode::Decoder& decoder, double scan_rate_hz) {
  const auto line = decoder.clock().line();
  if (!line) return std::nullopt;
  const double seconds = static_cast<double>(decoder.end_scan()) / scan_rate_hz;
  return selftest::ClockSeen{.ppm = line->rate_ppm, .uncertainty_ppm = 2e6 * line->uncertainty_s / seconds};
}

void print(const proto::SelfTestReport& report, Terminal& terminal) {
  std::ostream& out = terminal.out();
  const std::string tag = report.simulated() ? "SIMULATED. " : "";
  out << fmt::format("{}Self-test of jig {}, firmware {}: {}\n\n", tag, report.jig(), report.firmware(),
                     report::word(report.outcome()));
  std::vector<std::vector<std::string>> rows;
  for (const proto::TestItem& item : report.items()) {
    rows.push_back(
        {item.check(), item.subject(), report::word(item.outcome()), item.figure(), item.limit(), item.source()});
  }
  out << report::text_table({"check", "of", "", "found", "allowed", "by"}, rows);
  for (const proto::TestItem& item : report.items()) {
    if (item.outcome() == proto::TEST_OUTCOME_PASS) continue;
    out << fmt::format("\n{} of {}, {}: {}.", item.check(), item.subject(), report::word(item.outcome()), item.words());
  }
  out << "\n\nNot tested:\n";
  for (const proto::NotTested& one : report.not_tested()) out << fmt::format("  {}: {}\n", one.what(), one.why());
  if (report.corrections().empty()) return;
  out << "\nCorrections of the description to choose from, each at its channel:\n";
  for (const std::string& line : report.corrections()) out << "  " << line << "\n";
}

int conclude_test(const SelfTestOptions& options, proto::SelfTestReport report, Terminal& terminal) {
  terminal.end_progress();
  if (options.json) {
    const auto json = report::to_json(report);
    if (!json) return terminal.complain(json.error(), kExitNotFinished);
    terminal.out() << *json;
  } else {
    print(report, terminal);
  }
  const std::string file = options.keep.empty() ? self_test_file(report.jig(), report.simulated()) : options.keep;
  if (const auto kept = keep_self_test(file, report); !kept) return terminal.complain(kept.error(), kExitNotFinished);
  terminal.say(
      fmt::format("Kept in {}: 'steadyrail load' arms the load bank only on a self-test that passed, of this "
                  "start of the jig.",
                  file));
  if (report.outcome() == proto::TEST_OUTCOME_FAIL) return kExitFail;
  return report.outcome() == proto::TEST_OUTCOME_PASS ? 0 : kExitUndecided;
}

int finish(const SelfTestOptions& options, const std::expected<link::SessionReport, link::LinkError>& ended,
           const SelfTestRun& run, const decode::Decoder& decoder, const proto::TestSetup& setup, const model::Jig& jig,
           std::uint64_t started_utc_us, Terminal& terminal) {
  if (!ended) return terminal.complain(ended.error().message, exit_status(ended.error().fault));
  std::string why = run.failure();
  if (why.empty() && ended->end != link::SessionEnd::kFinished) why = std::string(link::to_string(ended->end));
  if (!why.empty()) {
    return terminal.complain(fmt::format("selftest: broken off at {} of {}: {}", run.done(), run.planned(), why),
                             kExitNotFinished);
  }
  selftest::Observations seen = run.observations();
  seen.clock = clock_of(decoder, jig.scan_rate_hz());
  proto::SelfTestReport report = selftest::evaluate(setup, jig, seen);
  report.set_firmware(run.hello_said().firmware());
  report.set_boot(run.boot());
  report.set_simulated(run.hello_said().simulated());
  report.set_description_sha256(built_sha256(jig));
  report.set_started_utc_us(started_utc_us);
  return conclude_test(options, std::move(report), terminal);
}

proto::RecordingHeader header_of(const model::Jig& jig) {
  proto::RecordingHeader header;
  *header.mutable_jig() = jig.description();
  header.mutable_jig()->clear_budgets();
  return header;
}

int run_real(const SelfTestOptions& options, const proto::TestSetup& setup, const model::Jig& jig, Terminal& terminal,
             const Interrupt& interrupt) {
  link::RealClock clock;
  const auto started = static_cast<std::uint64_t>(clock.now().since_epoch.count());
  SelfTestRun run(setup, jig);
  Drive drive(run, terminal);
  decode::Decoder decoder(run);
  link::SessionOptions session_setup = session_options(options, setup, jig);
  session_setup.stop = interrupt.token();
  link::Session session(session_setup, header_of(jig), clock, nullptr, decoder, drive);
  drive.attach(session, nullptr);
  const auto ended = session.run();
  return finish(options, ended, run, decoder, setup, jig, started, terminal);
}

int run_virtual(const SelfTestOptions& options, const proto::TestSetup& setup, const model::Jig& jig,
                Terminal& terminal, const Interrupt& interrupt, const std::string& program_folder) {
  auto plugs = simulate::TestPlugs::create(jig.description(), setup, options.seed, options.faults);
  if (!plugs) return terminal.complain("selftest: " + plugs.error());
  for (const std::string& placed : plugs->placed()) terminal.say("simulated fault: " + placed);
  const std::string program = (std::filesystem::path(program_folder) / "steadyrail-virtual-jig").string();
  const auto virtual_jig = VirtualJig::start(program, jig.description().id(), "bench", "wait");
  if (!virtual_jig) return terminal.complain(virtual_jig.error(), kExitNotFinished);
  // A clock that runs fast counts more scans a second of the host's.
  link::SimulatedClock clock(model::HostTime{std::chrono::microseconds(kVirtualStartUtcUs)},
                             jig.scan_rate_hz() * (1 + simulate::clock_fault(options.faults)), options.seed);
  SelfTestRun run(setup, jig);
  Drive drive(run, terminal);
  decode::Decoder decoder(run);
  link::SessionOptions session_setup = session_options(options, setup, jig);
  session_setup.port = (*virtual_jig)->terminal();
  session_setup.keep_alive = link::KeepAlive::kExternal;
  session_setup.times = link::SessionTimes::patient();
  session_setup.stop = interrupt.token();
  const std::uint64_t end_scan = (run.planned() + 10) * simulate::kHookInterval;  // half a second each
  LockStep step(end_scan);
  link::Session session(session_setup, header_of(jig), clock, nullptr, decoder, drive);
  step.attach(session);
  drive.attach(session, &step);
  ScanThread thread((*virtual_jig)->scan_socket(), *plugs, step, ScanThread::in_step(step, end_scan));
  const auto ended = session.run();
  drive.session_over();
  step.session_over();
  const auto served = thread.join();
  if (ended && !served) return terminal.complain("the simulated jig: " + served.error(), kExitNotFinished);
  return finish(options, ended, run, decoder, setup, jig, kVirtualStartUtcUs, terminal);
}

int list_faults(Terminal& terminal) {
  std::vector<std::vector<std::string>> rows;
  for (const simulate::BuildFault& fault : simulate::build_faults()) {
    rows.push_back({std::string(fault.name), std::string(fault.description)});
  }
  terminal.out() << report::text_table({"fault (simulated)", "what it is"}, rows);
  return 0;
}

}  // namespace

int self_test(const SelfTestOptions& options, Terminal& terminal, const Interrupt& interrupt, bool ask,
              const std::string& program_folder) {
  if (options.faults == std::vector<std::string>{"list"}) return list_faults(terminal);
  terminal.print_caution();
  const bool simulated = options.port == kVirtualPort;
  if (!simulated && !options.faults.empty()) {
    return terminal.complain("selftest: --fault is for the port 'virtual': a real jig has its own");
  }
  if (const auto checked = check_outputs({{"--keep", options.keep}}, {}); !checked) {
    return terminal.complain(checked.error());
  }
  const auto jig = load_jig(options.jig);
  if (!jig) return terminal.complain(jig.error());
  const auto setup = load_setup(options.setup, *jig);
  if (!setup) return terminal.complain(setup.error());
  if (!confirmed(options, terminal, ask)) return kExitWrongUse;
  if (simulated) {
    terminal.say("Everything from here on is simulated.");
    return run_virtual(options, *setup, *jig, terminal, interrupt, program_folder);
  }
  return run_real(options, *setup, *jig, terminal, interrupt);
}

}  // namespace host::app
