// SPDX-License-Identifier: Apache-2.0
// The virtual jig's process, fed the files of a session in lock-step.
#pragma once

#include "tests/emulated/session_files.h"

namespace emulated {

/// What its terminal carried for scans.bin and commands.bin of `folder`.
Bytes run_virtual_jig(const std::filesystem::path& folder);

}  // namespace emulated
