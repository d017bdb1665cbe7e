// SPDX-License-Identifier: Apache-2.0
// What a channel's divider is, from what it reads through two source resistances; and what it ought to read.
//
//   level -- source resistance -- tap -- upper -- mid -- lower -- group ground -- tie -- return, the source's minus
//                                  |
//                                bleed (in some test plugs)
#pragma once

#include <optional>

#include "self_test.pb.h"

namespace host::selftest {

/// Converter volts for one volt at the tap, as built by the setup.
double gain_of(const steadyrail::proto::TestInput& input);
/// Converter volts with the tap at 0 V.
double at_zero_of(const steadyrail::proto::TestInput& input);
/// What the source sees at the tap: the divider on `ground_ohm`, with the bleed.
double input_ohm(const steadyrail::proto::TestInput& input, double ground_ohm);
/// How far a level lifts the tap through a source resistance; an attenuator in the test plug stands behind it.
double tap_volts(const steadyrail::proto::TestInput& input, double level_v, double source_ohm, double ground_ohm);

/// Tap volts at level 0, by what comes out of the divider's end; without a source resistance: an open tap.
double resting_volts(const steadyrail::proto::TestInput& input, std::optional<double> source_ohm);

/// Converter volts above those at level 0, at one level through both resistances.
struct TwoReadings {
  double level_v = 0;
  double strong_ohm = 0;
  double weak_ohm = 0;
  double strong_v = 0;
  double weak_v = 0;
};

struct Divider {
  double upper_ohm = 0;
  double lower_ohm = 0;
  double input_ohm = 0;  // bleed taken out, ground's way back included
  double gain = 0;
};

/// From q = strong / weak: R = (weak_ohm - q strong_ohm) / (q - 1), and from R the tap's voltage. Empty: readings that
/// no divider gives (no response, or none that depends on the source's resistance).
std::optional<Divider> divider_of(const TwoReadings& readings, double ground_ohm, double bleed_ohm);

}  // namespace host::selftest
