// SPDX-License-Identifier: Apache-2.0
// The program: builds what the verbs share and hands it down.
#include <unistd.h>

#include <filesystem>
#include <iostream>
#include <string>
#include <vector>

#include "host/app/command_line.h"
#include "host/app/interrupt.h"
#include "host/app/terminal.h"
#include "host/app/verbs.h"

namespace host::app {
namespace {

template <typename... Handlers>
struct Overloaded : Handlers... {
  using Handlers::operator()...;
};

int run(const Command& command, Terminal& terminal) {
  const Interrupt interrupt;
  std::error_code fault;
  const std::string folder = std::filesystem::read_symlink("/proc/self/exe", fault).parent_path().string();
  return std::visit(
      Overloaded{
          [&](const PortsOptions& options) { return ports(options, terminal); },
          [&](const LabelOptions& options) { return label(options, terminal); },
          [&](const LimitsOptions& options) { return limits(options, terminal); },
          [&](const BudgetOptions& options) { return budget(options, terminal); },
          [&](const WatchOptions& options) { return watch(options, terminal, interrupt, isatty(STDIN_FILENO) == 1); },
          [&](const ReviewOptions& options) { return review(options, terminal, interrupt); },
          [&](const RehearseOptions& options) { return rehearse(options, terminal, interrupt, folder); },
          [&](const CompareOptions& options) { return compare(options, terminal, interrupt); },
          [&](const HeartbeatOptions& options) { return heartbeat(options, terminal, interrupt); },
          [&](const LoadOptions& options) {
            return load(options, terminal, interrupt, isatty(STDIN_FILENO) == 1, folder);
          },
          [&](const SelfTestOptions& options) {
            return self_test(options, terminal, interrupt, isatty(STDIN_FILENO) == 1, folder);
          },
          [&](const ExportOptions& options) { return export_recording(options, terminal, interrupt); },
          [&](const CalibrateOptions& options) { return calibrate(options, terminal, interrupt); },
          [&](const VerifyOptions& options) { return verify(options, terminal, interrupt); },
      },
      command);
}

}  // namespace
}  // namespace host::app

int main(int argc, char** argv) {
  using host::app::Terminal;
  Terminal terminal(std::cout, std::cerr, isatty(STDERR_FILENO) == 1);
  try {
    const auto command =
        host::app::parse_command_line(std::vector<std::string>(argv + (argc > 0 ? 1 : 0), argv + argc));
    if (!command) {
      (command.error().status == 0 ? std::cout : std::cerr) << command.error().text;
      return command.error().status;
    }
    const int status = host::app::run(*command, terminal);
    std::cout.flush();
    if (!std::cout) return terminal.complain("standard output could not be written", host::app::kExitNotFinished);
    return status;
  } catch (const std::exception& error) {
    return terminal.complain(std::string("internal error: ") + error.what(), host::app::kExitNotFinished);
  }
}
