// SPDX-License-Identifier: Apache-2.0
// How a jig is set up for a session over a line of a given speed.
#pragma once

#include <cstdint>

#include "host/model/jig.h"
#include "link.pb.h"

namespace host::app {

/// Windows as short as the line carries, step triggers on every current channel, the rest at the chip's defaults.
steadyrail::proto::Configure configuration(const model::Jig& jig, std::uint32_t baud);

}  // namespace host::app
