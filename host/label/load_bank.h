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
/// sentence each): no load bank in the description, a branch on a gate that is not there or taken, on a rail of which
/// the label prints no current, or with a figure that is not positive; a current channel that is none, or whose codes
/// fall with the current; limits that leave nothing.
std::expected<steadyrail::proto::DescribeLoadBank, std::string> load_bank_limits(const model::Jig& jig,
                                                                                 const steadyrail::proto::Unit& unit);

}  // namespace host::label
