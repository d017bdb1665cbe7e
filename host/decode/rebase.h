// SPDX-License-Identifier: Apache-2.0
// Moves the scan indices inside messages onto the session's time-line.
#pragma once

#include <cstdint>

#include "link.pb.h"

namespace host::decode {

/// Adds `offset` to every scan index in `event`.
void rebase(steadyrail::proto::Event& event, std::uint64_t offset);

}  // namespace host::decode
