// SPDX-License-Identifier: Apache-2.0
// Resistance of cable and contacts between the supply and a plug: y = c - R_A I_A + R_B I_B over settled points,
// robust. Excess over what its wire and contacts should come to, and the heat that goes with it.
#pragma once

#include <cstddef>
#include <optional>
#include <span>

#include "host/detect/settled_levels.h"
#include "result.pb.h"
#include "unit.pb.h"

namespace host::detect {

struct ContactFit {
  double a_ohm = 0;
  double a_u = 0;  // standard error
  double dof = 0;
  double offset_v = 0;          // c; what is left of it when B's value was taken from it: 0
  std::optional<double> b_ohm;  // absent: B carried nothing that could tell it
  double b_u = 0;
  bool b_from_offset = false;
};

/// Beyond this excess a contact is flagged; common practice, no source.
inline constexpr double kExcessFlagOhm = 10e-3;

/// `amps_b` empty: B's current is not known. Where B's stood still and was above 1 A, its value follows from the
/// offset, taken to be 0 within `offset_bound_v` (the two channels' expanded uncertainties). Nothing: too few points or
/// currents that moved together.
std::optional<ContactFit> fit_contact(std::span<const double> y, std::span<const double> amps_a,
                                      std::span<const double> amps_b, double offset_bound_v);

/// A row for every connector pair. `unit` may be null: no cable is described, and no excess can be told.
void write_contacts(const model::Jig& jig, const SettledLevels& levels, const steadyrail::proto::Unit* unit,
                    steadyrail::proto::SessionResult& result);

}  // namespace host::detect
