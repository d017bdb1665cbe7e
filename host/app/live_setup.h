// SPDX-License-Identifier: Apache-2.0
// What every live session begins with, whichever verb runs it.
#pragma once

#include <cstdint>
#include <expected>
#include <string>

#include "host/app/judging.h"
#include "host/app/live_session.h"
#include "host/link/error.h"
#include "host/model/jig.h"

namespace host::app {

/// A session of `jig` judged by `judging` over a line of `baud`, with the default declaration. Port, times, files and
/// what the header says of the occasion are the caller's.
LiveSetup begin_setup(const model::Jig& jig, const Judging& judging, std::uint32_t baud);

/// Takes the session's readings by `jig`, which differs from the one it began with in its calibration alone.
void read_by(const model::Jig& jig, LiveSetup& setup);

/// Asks the jig on the session's line for the calibration it keeps, and takes the readings by that one. Returns a
/// remark for the user; empty: nothing to say. Errors as those of link::converse().
std::expected<std::string, link::LinkError> read_by_kept_calibration(const model::Jig& described, LiveSetup& setup);

}  // namespace host::app
