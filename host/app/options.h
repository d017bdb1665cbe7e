// SPDX-License-Identifier: Apache-2.0
// What each verb was asked to do: plain values, filled by the command line and by tests.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "host/app/verb_calibrate.h"
#include "host/app/verb_label.h"
#include "recording.pb.h"

namespace host::app {

inline constexpr std::uint32_t kDefaultBaud = 2'000'000;

/// Against what a session is judged; empty: what the recording or the unit names.
struct JudgeOptions {
  std::string limits;  // edition or file
  std::string unit;    // shipped name or file
};

/// What to write of a result; empty: not asked for.
struct ResultFiles {
  std::string report;
  std::string json;
  std::string events_csv;
  std::string windows_csv;
};

struct PortsOptions {
  bool json = false;
};

struct LimitsOptions {
  std::string edition;  // empty: all of them, side by side
  bool json = false;
};

struct BudgetOptions {
  std::vector<std::string> jigs = {"reference"};  // several: side by side
  std::string channel;                            // empty: all of them
  bool json = false;
};

struct WatchOptions {
  std::string port;
  JudgeOptions judge;
  std::string jig = "reference";
  std::string out;  // empty: named by the time of the start
  ResultFiles files;
  std::optional<std::chrono::milliseconds> duration;
  std::uint32_t baud = kDefaultBaud;
  std::string question;
  steadyrail::proto::Symptom symptom = steadyrail::proto::SYMPTOM_UNKNOWN;
  std::optional<std::chrono::milliseconds> lock_up_window;  // declared before anything is seen
  std::string heartbeat;                                    // PORT[@ADDRESS]; empty: none listened for
  std::string heartbeat_token;                              // empty: made up
  bool already_checked = false;
  bool force = false;
};

struct HeartbeatOptions {
  std::string target;  // HOST:PORT
  std::string token;
  std::chrono::milliseconds period{1000};
  std::optional<std::chrono::milliseconds> duration;
  std::string one_liner;  // shell; empty: send
  bool json = false;
};

struct ReviewOptions {
  std::string recording;
  JudgeOptions judge;
  ResultFiles files;
  std::optional<std::chrono::milliseconds> lock_up_window = {};  // another than was declared
  std::uint32_t looks = 0;  // windows tried on this recording, this one included; 0: not said
};

struct CompareOptions {
  std::vector<std::string> recordings;  // A, B, A ...
  JudgeOptions judge;
  std::string report;  // empty: none
  std::string json;
};

enum class Pace : std::uint8_t { kFree, kReal };

struct RehearseOptions {
  std::string scenario = "healthy";
  std::uint64_t seed = 1;
  std::chrono::milliseconds duration{60'000};
  bool from_standby = false;  // begin in standby and switch on, else everything runs from the first scan
  Pace pace = Pace::kFree;
  bool heartbeat = false;  // the simulated PC sends one
  JudgeOptions judge;
  std::string jig = "reference";
  std::string out;  // empty: not recorded
  ResultFiles files;
  std::uint32_t baud = kDefaultBaud;
  std::string question;
  bool force = false;
};

/// Instead of a port: the jig's firmware on this machine, fed by a simulation.
inline constexpr const char* kVirtualPort = "virtual";

struct LoadOptions {
  std::string programme;
  std::string port;  // empty: only with dry_run
  JudgeOptions judge;
  std::string jig = "reference";
  std::string out;  // empty: named by the time of the start
  ResultFiles files;
  std::uint32_t baud = kDefaultBaud;
  std::string question;
  std::string self_test;             // where the jig's self-test is kept; empty: where selftest keeps it
  std::string scenario = "healthy";  // of the virtual port, as the seed
  std::uint64_t seed = 1;
  bool dry_run = false;
  bool yes = false;
  bool force = false;
};

struct SelfTestOptions {
  std::string port;
  std::string jig = "reference";
  std::string setup;  // of source and test plugs; empty: the one that belongs to the jig
  std::string keep;   // where the result is kept; empty: where load looks for it
  std::uint32_t baud = kDefaultBaud;
  std::vector<std::string> faults;  // of the virtual port, as the seed
  std::uint64_t seed = 1;
  bool yes = false;
  bool json = false;
};

struct ExportOptions {
  std::string recording;
  JudgeOptions judge;
  std::string events;
  std::string windows;
  std::optional<std::chrono::milliseconds> from;  // of the session; windows only
  std::optional<std::chrono::milliseconds> to;
};

using Command = std::variant<PortsOptions, LabelOptions, LimitsOptions, BudgetOptions, WatchOptions, ReviewOptions,
                             RehearseOptions, ExportOptions, HeartbeatOptions, CompareOptions, CalibrateOptions,
                             VerifyOptions, LoadOptions, SelfTestOptions>;

}  // namespace host::app
