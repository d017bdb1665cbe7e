// SPDX-License-Identifier: Apache-2.0
// Whether the calibration a recording was made with is the jig's own, and holds on its day.
#pragma once

#include <string>

#include "link.pb.h"
#include "recording.pb.h"

namespace host::decode {

/// Why no reading of a session decides anything, in words; empty: the calibration is sound. None in the jig, another
/// one than the recording was read with, another jig's, past its due date, or dated after the recording. `hello` may be
/// null: what the jig said of itself was lost. A recording without a date of its own is not compared with one.
std::string calibration_doubt(const steadyrail::proto::RecordingHeader& header, const steadyrail::proto::Hello* hello);

}  // namespace host::decode
