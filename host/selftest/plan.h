// SPDX-License-Identifier: Apache-2.0
// Which taps are joined to the source, one after the other, and what the jig is told for it.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "host/model/jig.h"
#include "link.pb.h"
#include "proto/wire/window.h"
#include "self_test.pb.h"

namespace host::selftest {

enum class Purpose : std::uint8_t {
  kOff,         // nothing joined: open taps
  kZeroStrong,  // level 0; only of inputs that do not read zero by themselves
  kZeroWeak,
  kSmall,  // the small level, of the others: their offset
  kHigh,   // the highest level the channel can read, strong: who responds?
  kLowStrong,
  kLowWeak,
  kHighWeak,  // the highest level the channel can read, weak: what does the clamp take?
  kLink,
  kStep  // every tap at once
};

struct Stimulus {
  Purpose purpose = Purpose::kOff;
  std::uint32_t outputs = 0;
  std::uint32_t level = 0;
  bool weak = false;
  int input = -1;  // place in the setup, of the tap joined or the link's
  int link = -1;
};

/// In order; begins with kOff.
std::vector<Stimulus> plan(const steadyrail::proto::TestSetup& setup, const model::Jig& jig);

/// The command. `codes` are the channels' present mean codes: a channel that reads something now because the source is
/// on may do so; all others must lie within what a dead tap reads.
steadyrail::proto::JoinSource command_of(const Stimulus& stimulus, const steadyrail::proto::TestSetup& setup,
                                         const model::Jig& jig, const std::array<bool, wire::kChannelCount>& moved);

/// Thresholds half-way up the step, by which the jig stamps it.
steadyrail::proto::Arm arm_for(const steadyrail::proto::TestSetup& setup, const model::Jig& jig);

/// Converter volts of an input: open, and with every tap at once on the step's level.
double open_volts(const steadyrail::proto::TestInput& input);
double stepped_volts(const steadyrail::proto::TestSetup& setup, const steadyrail::proto::TestInput& input);

}  // namespace host::selftest
