// SPDX-License-Identifier: Apache-2.0
// `calibrate` and `verify`: a jig beside a reference meter.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "host/app/interrupt.h"
#include "host/app/terminal.h"
#include "host/link/port.h"

namespace CLI {  // NOLINT(readability-identifier-naming): the library's own name
class App;
}

namespace host::app {

/// What both verbs ask for.
struct ComparisonOptions {
  std::string port;
  std::string jig = "reference";
  std::uint32_t baud = link::PortSettings{}.baud;
  std::string meter;
  std::string readings;               // empty: typed
  std::vector<std::string> channels;  // empty: all that can be compared
  bool together = false;              // channels of one rail share the source
  std::string role = "op-1";
  double temperature_c = 23;
  std::string json;
  std::string page;  // HTML
};

struct CalibrateOptions {
  ComparisonOptions common;
  std::string progress;      // empty: named after the jig
  std::string id;            // empty: by jig and day
  double class_percent = 0;  // 0: by the build
  bool may_erase = false;
};

struct VerifyOptions {
  ComparisonOptions common;
  std::vector<std::string> history;
};

void declare_calibrate(CLI::App& verb, CalibrateOptions& options);
void declare_verify(CLI::App& verb, VerifyOptions& options);

/// Exit status: 0 every channel asked for is calibrated and the jig holds it; 1 one was refused; 4 one has no readings
/// or a remark; 2 wrong use or input; 3 broken off (it goes on where it stood), port gone, or the jig could not keep
/// it.
int calibrate(const CalibrateOptions& options, Terminal& terminal, const Interrupt& interrupt);
/// Exit status: 0 every |E_n| is at most 1; 1 one is not; 4 a calibrated channel asked for has no point; 2, 3 as above.
int verify(const VerifyOptions& options, Terminal& terminal, const Interrupt& interrupt);

}  // namespace host::app
