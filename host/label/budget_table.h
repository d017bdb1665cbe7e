// SPDX-License-Identifier: Apache-2.0
// A load budget in print: the answer, then what flows where, what each link has left, and which cable goes where.
#pragma once

#include <span>
#include <string>

#include "host/label/table.h"
#include "load_budget.pb.h"

namespace host::label {

/// The answers of several units beside each other.
Table budgets_side_by_side(std::span<const steadyrail::proto::LoadBudget> budgets);

/// Where amperes flow, steady and in the greatest excursion.
Table currents_table(const steadyrail::proto::LoadBudget& budget);

/// Every link at its worst, with demand, limit, what is left and where the limit stands; heaviest first.
Table links_table(const steadyrail::proto::LoadBudget& budget);

/// The split of cables, warnings and what is not known, a sentence a line, each indented by two.
std::string budget_notes(const steadyrail::proto::LoadBudget& budget);

/// "enough", "not enough", "doubtful".
std::string sufficiency_words(steadyrail::proto::Sufficiency sufficiency);

}  // namespace host::label
