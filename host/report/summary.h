// SPDX-License-Identifier: Apache-2.0
// The result on a terminal: answer, verdicts, worst events, coverage. Plain text, no colour, no control characters.
#pragma once

#include <string>
#include <vector>

#include "result.pb.h"

namespace host::report {

/// Columns of text under `header`, each as wide as its widest cell; cells may hold any UTF-8. Shared by every verb that
/// prints a table.
std::string text_table(const std::vector<std::string>& header, const std::vector<std::vector<std::string>>& rows);

/// Kinds that tell of times and of the whole supply: they have no extreme of a voltage.
bool is_timed(steadyrail::proto::EventKind kind);

std::string text_summary(const steadyrail::proto::SessionResult& result);

/// Up to `count_max` events of a result, worst first: failing before undecided before the rest,
/// then by the share by which they lie beyond the limit of their channel, then by depth.
std::vector<const steadyrail::proto::EventResult*> worst_events(const steadyrail::proto::SessionResult& result,
                                                                std::size_t count_max);

}  // namespace host::report
