// SPDX-License-Identifier: Apache-2.0
// The replay of the emulated board, compiled for this machine.
#pragma once

#include "tests/emulated/session_files.h"

namespace emulated {

/// What the jig says to scans.bin and commands.bin of `folder`.
Bytes replay_natively(const std::filesystem::path& folder);

}  // namespace emulated
