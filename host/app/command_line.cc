// SPDX-License-Identifier: Apache-2.0
#include "host/app/command_line.h"

#include <algorithm>
#include <charconv>
#include <cstdint>
#include <map>

#include <fmt/format.h>
#include <CLI/CLI.hpp>

#include "host/app/duration.h"
#include "host/app/nearest.h"
#include "host/data/shipped.h"
#include "host/record/version.h"
#include "host/report/escape.h"

namespace host::app {
namespace {

constexpr int kWrongUse = 2;

/// CLI11 takes "-1" for the greatest number there is.
std::string whole_number(const std::string& text) {
  std::uint64_t value = 0;
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (fault == std::errc{} && end == text.data() + text.size()) return "";
  return "'" + text + "' is no whole number from 0 to 18446744073709551615";
}

CLI::App& add_verb(CLI::App& program, const std::string& name, const std::string& purpose, const std::string& example) {
  CLI::App& verb = *program.add_subcommand(name, purpose);
  const std::string caution(data::shipped("texts/caution.txt").value_or(""));
  verb.footer("Example:\n  " + example + "\n\n" + caution);
  return verb;
}

void add_time(CLI::App& verb, const std::string& option, const std::string& help, auto& target) {
  verb.add_option_function<std::string>(
          option,
          [&target, option](const std::string& text) {
            const auto parsed = parse_duration(text);
            if (!parsed) throw CLI::ValidationError(option, parsed.error());
            target = *parsed;
          },
          help)
      ->type_name("TIME");
}

void add_duration(CLI::App& verb, const std::string& help, auto& target) {
  add_time(verb, "--for", help, target);
}

void add_judge(CLI::App& verb, JudgeOptions& judge) {
  verb.add_option("--limits", judge.limits, "Edition to judge by (see 'steadyrail limits'), or a file of one's own")
      ->type_name("EDITION|FILE");
  verb.add_option("--unit", judge.unit, "The supply's label: a shipped unit or a file")->type_name("FILE");
}

void add_files(CLI::App& verb, ResultFiles& files) {
  verb.add_option("--report", files.report, "Write the report, one HTML file")->type_name("FILE");
  verb.add_option("--json", files.json, "Write the result as JSON")->type_name("FILE");
  verb.add_option("--events-csv", files.events_csv, "Write the events as CSV")->type_name("FILE");
}

void add_windows_csv(CLI::App& verb, ResultFiles& files) {
  verb.add_option("--windows-csv", files.windows_csv, "Write every window of every channel as CSV (large)")
      ->type_name("FILE");
}

void add_jig_and_line(CLI::App& verb, std::string& jig, std::uint32_t& baud) {
  verb.add_option("--jig", jig, "Description of the jig: shipped ('reference', 'small') or a file")
      ->capture_default_str()
      ->type_name("FILE");
  verb.add_option("--baud", baud, "Speed of the line")->capture_default_str()->check(CLI::Range(9600, 12'000'000));
}

void declare_ports(CLI::App& program, PortsOptions& options) {
  CLI::App& verb = add_verb(program, "ports", "List the serial ports, and which of them opens", "steadyrail ports");
  verb.add_flag("--json", options.json, "Print JSON");
}

void declare_label_verb(CLI::App& program, LabelOptions& options) {
  declare_label(add_verb(program, "label", "Add up what a supply's label prints, before anything is switched on",
                         "steadyrail label u-1 u-2 u-3\n  steadyrail label u-1 --for p-07 --programme "
                         "bench.textproto\n  steadyrail label --total "
                         "570 --rail 12=23.5 --rail 5=33 "
                         "--rail 3.3=31 --standby 2.3 --save U-2.textproto\n\nExit status: 0 plausible, and enough for "
                         "the PC where one is named; 4 needs explaining or is doubtful; 1 contradicts itself or is not "
                         "enough; 2 wrong use or input"),
                options);
}

void declare_limits(CLI::App& program, LimitsOptions& options) {
  CLI::App& verb = add_verb(program, "limits", "List the editions of published limits, side by side, or one in full",
                            "steadyrail limits atx-3.0");
  verb.add_option("edition", options.edition, "Edition or file to print in full")->type_name("EDITION|FILE");
  verb.add_flag("--json", options.json, "Print JSON");
}

void declare_budget(CLI::App& program, BudgetOptions& options) {
  CLI::App& verb = add_verb(program, "budget", "What a jig's readings are worth, contributor by contributor",
                            "steadyrail budget reference --channel main-12v\n  steadyrail budget reference small "
                            "uncalibrated\n\nExit status: 0 every channel may decide and U is at most a quarter of "
                            "the tolerance; 4 one may not; 2 wrong use or input");
  verb.add_option("jig", options.jigs,
                  "Descriptions of jigs: shipped ('reference', 'small', 'uncalibrated') or files; "
                  "several stand side by side")
      ->capture_default_str()
      ->type_name("FILE");
  verb.add_option("--channel", options.channel, "Only this channel")->type_name("NAME");
  verb.add_flag("--json", options.json, "Print JSON");
}

void declare_watch(CLI::App& program, WatchOptions& options) {
  CLI::App& verb = add_verb(program, "watch", "Record a session with a jig, judge it as it runs, and report",
                            "steadyrail watch /dev/ttyUSB0 --unit unit.textproto --for 2h --report evening.html");
  verb.add_option("port", options.port, "Serial port, pseudo-terminal, or tcp:HOST:PORT")
      ->required()
      ->type_name("PORT");
  add_judge(verb, options.judge);
  verb.add_option("--out", options.out, "The recording; named by the time of the start when left out")
      ->type_name("FILE");
  add_files(verb, options.files);
  add_duration(verb, "How long; until Ctrl-C when left out (90s, 5m, 8h)", options.duration);
  add_jig_and_line(verb, options.jig, options.baud);
  verb.add_option("--question", options.question, "The symptom or order, in the user's words")->type_name("TEXT");
  const std::map<std::string, steadyrail::proto::Symptom> symptoms{
      {"freeze", steadyrail::proto::SYMPTOM_FREEZE},
      {"reset", steadyrail::proto::SYMPTOM_RESET},
      {"off", steadyrail::proto::SYMPTOM_OFF},
      {"off-until-mains-cycle", steadyrail::proto::SYMPTOM_OFF_UNTIL_MAINS_CYCLE}};
  verb.add_option("--symptom", options.symptom, "How the trouble shows, as told at intake")
      ->transform(CLI::CheckedTransformer(symptoms).description(""))
      ->type_name("freeze|reset|off|off-until-mains-cycle");
  add_time(verb, "--lock-up-window",
           "An event this long before a lock-up counts (2s when left out); declared, not tried",
           options.lock_up_window);
  verb.add_option("--heartbeat", options.heartbeat,
                  "Listen for heartbeats of the PC under test (see 'steadyrail heartbeat'); their stop is a mark")
      ->type_name("PORT[@ADDRESS]");
  verb.add_option("--heartbeat-token", options.heartbeat_token, "Word both computers know; made up when left out")
      ->type_name("WORD");
  verb.add_flag("--already-checked,--hooked-up", options.already_checked,
                "The hook-up order was gone through; the recording says that it was declared, not run");
  verb.add_flag("--force", options.force, "Write over an existing recording");
}

void declare_compare(CLI::App& program, CompareOptions& options) {
  CLI::App& verb = add_verb(program, "compare", "Hold sessions against each other: as found, changed, as found again",
                            "steadyrail compare found.steadyrail other-supply.steadyrail found-again.steadyrail "
                            "--report swap.html\n\nExit status: 0 compared, back at A; 4 in part, or without a way "
                            "back; 2 wrong use or input; 3 could not finish");
  verb.add_option("recordings", options.recordings, "In turn as found (A), changed (B), as found again (A) ...")
      ->required()
      ->type_name("FILE");
  add_judge(verb, options.judge);
  verb.add_option("--report", options.report, "Write the comparison, one HTML file")->type_name("FILE");
  verb.add_option("--json", options.json, "Write the comparison as JSON")->type_name("FILE");
}

void declare_heartbeat(CLI::App& program, HeartbeatOptions& options) {
  CLI::App& verb =
      add_verb(program, "heartbeat", "At the PC under test: tell the recording computer that it still runs",
               "steadyrail heartbeat 192.168.7.20:47000 --token bench-b2-k7\n  steadyrail heartbeat "
               "192.168.7.20:47000 --token bench-b2-k7 --one-liner powershell\n\nOne-liners: sh needs "
               "bash, python Python 3.6; the PowerShell line was not run by the makers.\nExit status: 0 "
               "ended in order; 2 wrong use; 3 nothing could be sent");
  verb.add_option("target", options.target, "The recording computer and its port, as 'watch --heartbeat' prints them")
      ->required()
      ->type_name("HOST:PORT");
  verb.add_option("--token", options.token, "Word that 'watch --heartbeat' printed")->required()->type_name("WORD");
  add_time(verb, "--period", "Between beats (1s when left out)", options.period);
  add_duration(verb, "How long; until Ctrl-C when left out", options.duration);
  verb.add_option("--one-liner", options.one_liner, "Print a line that sends, for a PC without this program")
      ->check(CLI::IsMember({"powershell", "sh", "python"}).description(""))
      ->type_name("powershell|sh|python");
  verb.add_flag("--json", options.json, "Print JSON at the end");
}

void declare_review(CLI::App& program, ReviewOptions& options) {
  CLI::App& verb = add_verb(program, "review", "Judge a recording again, under the same or another edition",
                            "steadyrail review evening.steadyrail --limits atx12v-2.0 --report again.html");
  verb.add_option("recording", options.recording, "Recording to read")->required()->type_name("FILE");
  add_judge(verb, options.judge);
  add_files(verb, options.files);
  add_windows_csv(verb, options.files);
  add_time(verb, "--lock-up-window",
           "Another window before a lock-up than was declared: a second look, which weighs less",
           options.lock_up_window);
  verb.add_option("--looks", options.looks, "How many windows were tried on this recording, this one included")
      ->type_name("NUMBER")
      ->check(CLI::Range(1, 1000));
}

void declare_rehearse(CLI::App& program, RehearseOptions& options) {
  CLI::App& verb = add_verb(program, "rehearse", "The whole job without hardware: real firmware, simulated supply",
                            "steadyrail rehearse --scenario loose-connector --seed 7 --for 60s --report loose.html");
  verb.add_option("--scenario", options.scenario, "Fault of the simulated supply; 'list' names them all")
      ->capture_default_str()
      ->type_name("NAME");
  verb.add_option("--seed", options.seed, "The same seed gives the same recording (free pace)")
      ->capture_default_str()
      ->type_name("NUMBER")
      ->check(whole_number);
  add_duration(verb, "Simulated time (90s, 5m, 8h), 60s when left out", options.duration);
  const std::map<std::string, Pace> paces{{"free", Pace::kFree}, {"real", Pace::kReal}};
  verb.add_flag("--from-standby", options.from_standby, "Begin in standby and let the PC switch the supply on");
  verb.add_option("--pace", options.pace, "free: as fast as it goes; real: by the clock on the wall")
      ->transform(CLI::CheckedTransformer(paces).description(""))
      ->type_name("free|real");
  verb.add_flag("--heartbeat", options.heartbeat, "Let the simulated PC send heartbeats (free pace)");
  add_judge(verb, options.judge);
  verb.add_option("--out", options.out, "Keep the recording")->type_name("FILE");
  add_files(verb, options.files);
  add_jig_and_line(verb, options.jig, options.baud);
  verb.add_option("--question", options.question, "The symptom or order, in the user's words")->type_name("TEXT");
  verb.add_flag("--force", options.force, "Write over an existing recording");
}

void add_virtual(CLI::App& verb, std::uint64_t& seed) {
  verb.add_option("--seed", seed, "With the port 'virtual': the same seed gives the same session")
      ->capture_default_str()
      ->type_name("NUMBER")
      ->check(whole_number);
}

void declare_load(CLI::App& program, LoadOptions& options) {
  CLI::App& verb = add_verb(program, "load",
                            "Play a load programme on a supply, bench only: no PC. Recorded and judged like a watch",
                            "steadyrail load steps --unit unit.textproto --dry-run\n  steadyrail load steps "
                            "/dev/ttyUSB0 --unit unit.textproto "
                            "--report steps.html\n  steadyrail load steps virtual --unit u-1\n\nThe jig's key stands "
                            "in bench, its self-test has "
                            "passed since it was switched on, and you stay beside it.");
  verb.add_option("programme", options.programme, "Load programme: shipped ('steps') or a file")
      ->required()
      ->type_name("NAME|FILE");
  verb.add_option("port", options.port,
                  "Serial port, pseudo-terminal or tcp:HOST:PORT; 'virtual': the firmware here, on a simulated supply")
      ->type_name("PORT");
  verb.add_flag("--dry-run", options.dry_run,
                "Only check the programme and print what it draws; --json FILE writes it");
  verb.add_flag("--yes", options.yes, "The cautions were read and followed: no confirmation is asked for");
  verb.add_option("--self-test", options.self_test, "Result that 'steadyrail selftest' kept elsewhere with --keep")
      ->type_name("FILE");
  add_judge(verb, options.judge);
  verb.add_option("--out", options.out, "The recording; named by the time of the start when left out")
      ->type_name("FILE");
  add_files(verb, options.files);
  add_jig_and_line(verb, options.jig, options.baud);
  verb.add_option("--question", options.question, "The symptom or order, in the user's words")->type_name("TEXT");
  verb.add_option("--scenario", options.scenario, "With the port 'virtual': fault of the simulated supply")
      ->capture_default_str()
      ->type_name("NAME");
  add_virtual(verb, options.seed);
  verb.add_flag("--force", options.force, "Write over an existing recording");
}

void declare_self_test(CLI::App& program, SelfTestOptions& options) {
  CLI::App& verb = add_verb(
      program, "selftest", "Measure a jig with its own source and test plugs, before any supply is connected",
      "steadyrail selftest /dev/ttyUSB0 --jig mine.textproto\n  steadyrail selftest virtual --fault open-link\n\nExit "
      "status: 0 passed; 1 something failed; 4 nothing failed, but something could not be told; 2 wrong use or "
      "input;\n3 could not finish");
  verb.add_option("port", options.port,
                  "Serial port, pseudo-terminal or tcp:HOST:PORT; 'virtual': the firmware here, on a simulated jig")
      ->required()
      ->type_name("PORT");
  verb.add_option("--setup", options.setup, "Source and test plugs: shipped or a file; the jig's own when left out")
      ->type_name("FILE");
  verb.add_option("--keep", options.keep, "Keep the result here instead of where 'load' looks for it")
      ->type_name("FILE");
  add_jig_and_line(verb, options.jig, options.baud);
  verb.add_option("--fault", options.faults, "With the port 'virtual': a fault of the build; 'list' names them all")
      ->type_name("NAME");
  add_virtual(verb, options.seed);
  verb.add_flag("--yes", options.yes, "Nothing but the test plugs is connected: no confirmation is asked for");
  verb.add_flag("--json", options.json, "Print JSON");
}

void declare_export(CLI::App& program, ExportOptions& options) {
  CLI::App& verb = add_verb(program, "export", "Write a recording's events and windows as CSV",
                            "steadyrail export evening.steadyrail --events events.csv --windows windows.csv");
  verb.add_option("recording", options.recording, "Recording to read")->required()->type_name("FILE");
  verb.add_option("--events", options.events, "Events, judged as in review")->type_name("FILE");
  verb.add_option("--windows", options.windows, "Every window of every channel (large)")->type_name("FILE");
  add_time(verb, "--from", "Windows from this second of the session on; leaves an index beside the recording",
           options.from);
  add_time(verb, "--to", "Windows before this second of the session", options.to);
  add_judge(verb, options.judge);
}

/// What no option may be given, found before anything is opened or recorded.
void refuse_empty_and_foreign(CLI::App& program) {
  const auto check = [](const std::string& type) {
    return [type](const std::string& text) -> std::string {
      if (text.empty()) return "is given, but empty";
      if (type == "TEXT" && report::valid_utf8(text) != text) return "is not UTF-8 text";
      if (type == "FILE" && text == "-") return "'-' is no file name here; /dev/stdout is one";
      return "";
    };
  };
  for (CLI::App* verb : program.get_subcommands([](const CLI::App*) { return true; })) {
    for (CLI::Option* option : verb->get_options()) {
      if (option->get_items_expected_max() > 0) option->check(check(option->get_type_name()));
    }
  }
}

/// Verbs by the letter; CLI11 only says that words were not expected.
std::string unknown_verb(const CLI::App& program, const std::vector<std::string>& arguments) {
  std::vector<std::string> verbs;
  for (const CLI::App* verb : program.get_subcommands([](const CLI::App*) { return true; })) {
    verbs.push_back(verb->get_name());
  }
  const auto word = std::ranges::find_if(arguments, [](const std::string& text) { return !text.starts_with("-"); });
  if (word == arguments.end() || std::ranges::find(verbs, *word) != verbs.end()) return "";
  return unknown_word("verb", *word, verbs);
}

EarlyEnd wrong_use(const CLI::App& program, const std::vector<std::string>& arguments, const std::string& message) {
  const std::string verb = unknown_verb(program, arguments);
  if (!verb.empty()) return {kWrongUse, "steadyrail: " + verb + "\n"};
  const auto chosen = program.get_subcommands();
  const std::string name = chosen.empty() ? "" : " " + chosen.front()->get_name();
  return {kWrongUse, fmt::format("steadyrail{}: {}\nSee 'steadyrail{} --help'.\n", name, message, name)};
}

/// The verbs that set a jig beside a reference meter.
void declare_comparisons(CLI::App& program, CalibrateOptions& calibrated, VerifyOptions& verified) {
  declare_calibrate(
      add_verb(program, "calibrate", "Compare a jig with a reference meter and store what that gives in it",
               "steadyrail calibrate /dev/ttyUSB0 --meter meter.textproto --channel main-12v --report "
               "certificate.html\n\nExit status: 0 all asked for are calibrated; 1 one is refused; 4 one "
               "is open; 2 wrong use or input; 3 broken off"),
      calibrated);
  declare_verify(add_verb(program, "verify", "Check a jig's calibration at other points, and when it is due",
                          "steadyrail verify /dev/ttyUSB0 --meter meter.textproto --history before.json --json "
                          "today.json\n\nExit status: 0 every |E_n| is at most 1; 1 one is not; 4 one is open; 2 wrong "
                          "use or input; 3 broken off"),
                 verified);
}

}  // namespace

std::expected<Command, EarlyEnd> parse_command_line(const std::vector<std::string>& arguments) {
  PortsOptions ports;
  LabelOptions label;
  LimitsOptions limits;
  BudgetOptions budget;
  WatchOptions watch;
  ReviewOptions review;
  RehearseOptions rehearse;
  ExportOptions exported;
  HeartbeatOptions heartbeat;
  CompareOptions compare;
  CalibrateOptions calibrated;
  VerifyOptions verified;
  LoadOptions load;
  SelfTestOptions self_test;
  CLI::App program("Finds out whether a PC power supply keeps its rails steady under load.", "steadyrail");
  program.get_formatter()->column_width(34);
  program.set_version_flag("--version", std::string("steadyrail ") + record::kHostVersion);
  program.require_subcommand(1);
  program.footer(
      "Exit status: 0 every verdict passes; 1 one fails; 4 none fails, but one is open; 2 wrong use or "
      "input;\n3 could not finish.\n\nExample:\n  steadyrail rehearse --scenario healthy --for 60s --report "
      "healthy.html\n\n" +
      std::string(data::shipped("texts/caution.txt").value_or("")));
  declare_ports(program, ports);
  declare_label_verb(program, label);
  declare_limits(program, limits);
  declare_budget(program, budget);
  declare_watch(program, watch);
  declare_review(program, review);
  declare_rehearse(program, rehearse);
  declare_load(program, load);
  declare_self_test(program, self_test);
  declare_export(program, exported);
  declare_heartbeat(program, heartbeat);
  declare_compare(program, compare);
  declare_comparisons(program, calibrated, verified);
  refuse_empty_and_foreign(program);
  try {
    program.parse(std::vector<std::string>(arguments.rbegin(), arguments.rend()));
  } catch (const CLI::CallForHelp&) {
    const auto chosen = program.get_subcommands();
    return std::unexpected(EarlyEnd{0, (chosen.empty() ? &program : chosen.front())->help()});
  } catch (const CLI::CallForVersion& version) {
    return std::unexpected(EarlyEnd{0, std::string(version.what()) + "\n"});
  } catch (const CLI::ParseError& error) {
    return std::unexpected(wrong_use(program, arguments, error.what()));
  }
  const std::string verb = program.get_subcommands().front()->get_name();
  if (verb == "ports") return ports;
  if (verb == "label") return label;
  if (verb == "calibrate") return calibrated;
  if (verb == "verify") return verified;
  if (verb == "limits") return limits;
  if (verb == "budget") return budget;
  if (verb == "watch") return watch;
  if (verb == "review") return review;
  if (verb == "rehearse") return rehearse;
  if (verb == "heartbeat") return heartbeat;
  if (verb == "compare") return compare;
  if (verb == "load") return load;
  if (verb == "selftest") return self_test;
  return exported;
}

}  // namespace host::app
