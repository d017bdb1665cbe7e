// SPDX-License-Identifier: Apache-2.0
// A few commands to a jig that stands still: who it is, what it keeps, and keeping something new.
#pragma once

#include <cstdint>
#include <expected>
#include <optional>
#include <string>
#include <vector>

#include "host/link/error.h"
#include "host/link/session.h"
#include "link.pb.h"

namespace host::link {

/// A calibration as the jig keeps it; an empty id: it holds none.
struct KeptCalibration {
  std::string id;
  std::string content;
};

struct Conversation {
  steadyrail::proto::Hello hello;                           // as told at the end
  std::vector<steadyrail::proto::Acknowledgement> answers;  // one a command, up to the first refused one
  KeptCalibration calibration;                              // as read back after the commands
  std::uint32_t frames_written = 0;
};

/// Opens the port, identifies, sends `commands` one after the other, reads the calibration back and closes. A run that
/// an earlier host left is stopped where a command needs it. `options`: port, settings, jig_id, times and stop count.
/// Errors: those of a session's beginning; a refusal is an answer, not an error.
std::expected<Conversation, LinkError> converse(const SessionOptions& options,
                                                std::vector<steadyrail::proto::HostToJig> commands);

}  // namespace host::link
