// SPDX-License-Identifier: Apache-2.0
// The verbs of the command line. Each returns the program's exit status.
#pragma once

#include <string>

#include "host/app/interrupt.h"
#include "host/app/options.h"
#include "host/app/terminal.h"

namespace host::app {

int ports(const PortsOptions& options, Terminal& terminal);
int budget(const BudgetOptions& options, Terminal& terminal);
int limits(const LimitsOptions& options, Terminal& terminal);
/// `ask`: whether the hook-up order may be asked for on standard input.
int watch(const WatchOptions& options, Terminal& terminal, const Interrupt& interrupt, bool ask);
int review(const ReviewOptions& options, Terminal& terminal, const Interrupt& interrupt);
/// `program_folder`: where the virtual jig lies.
int rehearse(const RehearseOptions& options, Terminal& terminal, const Interrupt& interrupt,
             const std::string& program_folder);
int compare(const CompareOptions& options, Terminal& terminal, const Interrupt& interrupt);
int heartbeat(const HeartbeatOptions& options, Terminal& terminal, const Interrupt& interrupt);
/// `ask`: whether a confirmation may be asked for on standard input.
int load(const LoadOptions& options, Terminal& terminal, const Interrupt& interrupt, bool ask,
         const std::string& program_folder);
int self_test(const SelfTestOptions& options, Terminal& terminal, const Interrupt& interrupt, bool ask,
              const std::string& program_folder);
int export_recording(const ExportOptions& options, Terminal& terminal, const Interrupt& interrupt);

}  // namespace host::app
