// SPDX-License-Identifier: Apache-2.0
// The command line: one verb per step of the job.
#pragma once

#include <expected>
#include <string>
#include <vector>

#include "host/app/options.h"

namespace host::app {

/// The program ends here: help or version was asked for (status 0), or the use was wrong (status 2).
struct EarlyEnd {
  int status = 0;
  std::string text;
};

/// `arguments` without the program's name. Help texts carry an example and the caution.
std::expected<Command, EarlyEnd> parse_command_line(const std::vector<std::string>& arguments);

}  // namespace host::app
