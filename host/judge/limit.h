// SPDX-License-Identifier: Apache-2.0
// Which limits of an edition hold at a channel.
#pragma once

#include <optional>
#include <string>

#include "host/judge/decision.h"
#include "host/model/jig.h"
#include "limits.pb.h"

namespace host::judge {

/// Both limits of one channel; `low` is the lesser voltage whatever the sign of the rail.
struct ChannelLimit {
  model::Microvolts low;
  model::Microvolts high;
  steadyrail::proto::LimitStatus status = steadyrail::proto::LIMIT_STATUS_UNKNOWN;
  std::string source;  // document and table
  model::Microvolts of(Side side) const { return side == Side::kLow ? low : high; }
};

/// The row for the channel's rail: one that names its connector before one for every connector; the first of several.
/// Nothing: the edition says nothing about this channel, or it is no rail voltage.
std::optional<ChannelLimit> limit_for(const steadyrail::proto::LimitSet& limits, const model::JigChannel& channel);

}  // namespace host::judge
