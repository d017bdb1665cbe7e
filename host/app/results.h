// SPDX-License-Identifier: Apache-2.0
// From what detectors and decoder found to one result, the files asked for and the words on the terminal: the same for
// a watch, a review and a rehearsal.
#pragma once

#include <expected>
#include <string>

#include "host/app/judging.h"
#include "host/app/options.h"
#include "host/app/terminal.h"
#include "host/detect/review.h"
#include "recording.pb.h"
#include "result.pb.h"

namespace host::app {

/// What stands when a session is over.
struct Finished {
  steadyrail::proto::SessionResult result;
  steadyrail::proto::Drawings drawings;
  steadyrail::proto::RecordingHeader header;
};

/// Joins the detectors' part with the decoder's (`described`: simulated, session, coverage, remarks), the edition, the
/// name and hash of `recording` (empty: not recorded) and the hash of the limits.
std::expected<Finished, std::string> join_result(const detect::Review& review,
                                                 const steadyrail::proto::SessionResult& described,
                                                 const steadyrail::proto::RecordingHeader& header,
                                                 const Judging& judging, const std::string& recording);

/// Writes report, JSON and events as asked.
std::expected<void, std::string> write_results(const Finished& finished, const Judging& judging,
                                               const ResultFiles& files);

/// Writes the files and prints the summary and where everything is. Returns the exit status of the result.
int conclude(Terminal& terminal, const Finished& finished, const Judging& judging, const ResultFiles& files,
             const std::string& recording);

/// The names of `files` for check_outputs().
std::vector<struct OutputName> output_names(const ResultFiles& files);

}  // namespace host::app
