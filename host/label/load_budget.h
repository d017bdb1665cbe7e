// SPDX-License-Identifier: Apache-2.0
// Is this unit enough for this PC, and where does it break first: the PC's load against label and plugs.
#pragma once

#include "host/label/plugs.h"
#include "host/label/rules.h"
#include "limits.pb.h"
#include "load_budget.pb.h"
#include "system.pb.h"
#include "unit.pb.h"

namespace host::label {

/// An excursion shorter than this is held to no rating of terminals: those published are r.m.s. over any second.
inline constexpr double kThermalS = 1;

/// Times the even share that the good circuits of `count` carry when one has three times the others' resistance: 9/7 of
/// three. The three is common practice, no source; the sharing is Ohm's law.
double uneven_factor(std::uint32_t count);

/// The whole budget. `unit` must have passed check_unit(), `system` check_system(). `limits`: the edition the unit
/// claims, null when it names none that is known; its excursion table says how far a load may go beyond the label and
/// for how long. Currents are at nominal volts. Not enough: a link breaks or a socket is lacking; a limit known from
/// memory, or terminals that share unevenly, only make it doubtful.
steadyrail::proto::LoadBudget load_budget(const steadyrail::proto::Unit& unit, const steadyrail::proto::System& system,
                                          const Rules& rules, const Plugs& plugs,
                                          const steadyrail::proto::LimitSet* limits);

}  // namespace host::label
