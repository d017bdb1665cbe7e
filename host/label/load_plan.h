// SPDX-License-Identifier: Apache-2.0
// A load programme against the jig's bank and the unit's label: what it will draw, or why it may not be played.
#pragma once

#include <expected>
#include <string_view>

#include "host/model/jig.h"
#include "host/model/text.h"
#include "link.pb.h"
#include "load_plan.pb.h"
#include "programme.pb.h"
#include "unit.pb.h"

namespace host::label {

/// A programme that may be played, and what the jig is told for it.
struct CheckedProgramme {
  steadyrail::proto::LoadProgramme programme;
  steadyrail::proto::DescribeLoadBank bank;
  steadyrail::proto::LoadPlan plan;
};

/// Reads a programme and works it out. Errors, each with its place: syntax; a programme for another jig; a gate the
/// bank does not have, or with another current; a gate left on; more current on a rail, more power, energy or time on
/// than bank and label allow; edges too close for the gates; phases without steps or of more than the jig takes at
/// once; what load_bank_limits() refuses. The jig holds a programme to the same limits by itself.
std::expected<CheckedProgramme, model::TextErrors> check_programme(std::string_view text, std::string_view file,
                                                                   const model::Jig& jig,
                                                                   const steadyrail::proto::Unit& unit);

/// Command for one phase.
steadyrail::proto::LoadSteps load_steps(const steadyrail::proto::LoadPhase& phase);

}  // namespace host::label
