// SPDX-License-Identifier: Apache-2.0
// What a load programme is held to: the lesser of what the jig's bank stands and what the unit's label allows.
#pragma once

#include <expected>
#include <string>

#include "host/model/jig.h"
#include "link.pb.h"
#include "unit.pb.h"

namespace host::label {

/// The command that tells the jig. Currents and powers in whole mA and mW, limits rounded down, loads up. Where the
/// label limits several outputs together in watts, each of them gets the same share of its own limit. Errors (a
/// sentence each): no load bank in the description, a branch on a rail of which the label prints no current, limits
/// that leave nothing. What the description itself may not say is its own checks' (host/model/jig_check).
std::expected<steadyrail::proto::DescribeLoadBank, std::string> load_bank_limits(const model::Jig& jig,
                                                                                 const steadyrail::proto::Unit& unit);

}  // namespace host::label
