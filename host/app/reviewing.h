// SPDX-License-Identifier: Apache-2.0
// A recording read back through every detector: what review, export and compare begin with.
#pragma once

#include <expected>
#include <string>

#include "host/app/interrupt.h"
#include "host/app/judging.h"
#include "host/app/options.h"
#include "host/app/results.h"
#include "host/app/terminal.h"

namespace host::app {

/// Header of a recording. The error is a sentence for the user.
std::expected<steadyrail::proto::RecordingHeader, std::string> header_of(const std::string& recording);

struct Reviewed {
  Finished finished;
  Judging judging;
};

/// Reads a recording through every detector; writes no file but the windows asked for. The error is the exit status;
/// the complaint has been printed.
std::expected<Reviewed, int> read_back(const ReviewOptions& options, Terminal& terminal, const Interrupt& interrupt);

}  // namespace host::app
