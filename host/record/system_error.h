// SPDX-License-Identifier: Apache-2.0
// The system's own errors, told in terms of a recording.
#pragma once

#include <string>

#include "host/record/error.h"

namespace host::record {

/// `number` is an errno; `doing` completes "cannot ...".
RecordError system_error(int number, const std::string& doing, const std::string& path);

/// Whether an errno says that there is no room: no space, over quota, or above the size a file may have.
bool is_full(int number);

}  // namespace host::record
