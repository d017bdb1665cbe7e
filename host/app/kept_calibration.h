// SPDX-License-Identifier: Apache-2.0
// The jig's own calibration is the one its readings are taken by: asked of it before a session, not believed from a
// file.
#pragma once

#include <expected>
#include <string>

#include "host/link/conversation.h"
#include "host/model/jig.h"

namespace host::app {

struct KeptJig {
  model::Jig jig;      // as described, with the calibration that the jig keeps; without one where it keeps none
  std::string remark;  // for the user; empty: nothing to say
};

/// Puts what the jig keeps in the place of what its description says.
KeptJig with_kept_calibration(const model::Jig& described, const link::KeptCalibration& kept);

/// The command that stores the calibration of `jig`. Error: it does not fit what a jig keeps, or has no dates.
std::expected<steadyrail::proto::HostToJig, std::string> store_command(const steadyrail::proto::JigDescription& jig,
                                                                       bool may_erase);

/// Gives a virtual jig the calibration of its description, if that has one: a session finds it there as in any other
/// jig. `line` is as for converse(); the error is a sentence for the user.
std::expected<link::Conversation, std::string> give_calibration(const link::SessionOptions& line,
                                                                const model::Jig& jig);

}  // namespace host::app
