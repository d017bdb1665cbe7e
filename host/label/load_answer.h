// SPDX-License-Identifier: Apache-2.0
// The sentence a load budget leads with.
#pragma once

#include "label.pb.h"
#include "load_budget.pb.h"
#include "unit.pb.h"

namespace host::label {

/// Sets sufficiency and answer from links (heaviest first), sockets lacking and gaps. A label that contradicts itself,
/// a total that is a peak, and a figure that is not printed make "enough" doubtful.
void answer(const steadyrail::proto::Unit& unit, steadyrail::proto::LabelVerdict verdict,
            steadyrail::proto::LoadBudget& out);

/// "+12V, for 10 ms: 61.2 A asked, 75.6 A allowed, 19 % left (allowance from memory)".
std::string link_words(const steadyrail::proto::LoadLink& link);

}  // namespace host::label
