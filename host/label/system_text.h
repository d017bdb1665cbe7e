// SPDX-License-Identifier: Apache-2.0
// Reading the description of a PC, and refusing values none can have.
#pragma once

#include <expected>
#include <string_view>

#include "host/label/plugs.h"
#include "host/label/rules.h"
#include "host/model/text.h"
#include "system.pb.h"

namespace host::label {

/// A PC from its text. Errors, each with file, line and column: syntax (with a hint where a decimal comma stands), and
/// everything check_system() refuses.
std::expected<steadyrail::proto::System, model::TextErrors> system_from_text(std::string_view text,
                                                                             std::string_view file, const Rules& rules,
                                                                             const Plugs& plugs);

/// What cannot be added up, each by name: no part or no cable; a part, a plug, a socket or an excursion given twice; a
/// draw without rail or figure, with both watts and amperes, or with one that is missing, not finite or beyond anything
/// a PC has; an excursion below its draw, or below a longer one; shares that do not add up to 1; a plug that no cable
/// ends in, that does not carry the rail, or that the socket is not for (a graphics plug on a processor socket is wired
/// the other way round). Empty when the PC can be added up.
model::TextErrors check_system(const steadyrail::proto::System& system, const model::Place& place, const Rules& rules,
                               const Plugs& plugs);

}  // namespace host::label
