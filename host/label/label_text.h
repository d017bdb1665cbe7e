// SPDX-License-Identifier: Apache-2.0
// Reading a unit file, and refusing values no label can mean.
#pragma once

#include <expected>
#include <string_view>

#include "host/label/rules.h"
#include "host/model/text.h"
#include "unit.pb.h"

namespace host::label {

/// A unit from its text. Errors, each with file, line and column: syntax (with a hint where a decimal comma stands),
/// and everything check_unit() refuses.
std::expected<steadyrail::proto::Unit, model::TextErrors> unit_from_text(std::string_view text, std::string_view file,
                                                                         const Rules& rules);

/// What cannot be audited, each by name: no total or no +12 V; a figure that is missing, not finite, zero, negative or
/// beyond anything a PC supply has; a rail, a sub-rail or a socket given twice; a combined limit of fewer than two
/// printed rails; a sub-rail's map naming a socket the unit lacks or a word that is none of ours; a date that is none.
/// Empty when the unit can be audited.
model::TextErrors check_unit(const steadyrail::proto::Unit& unit, const model::Place& place, const Rules& rules);

}  // namespace host::label
