// SPDX-License-Identifier: Apache-2.0
#include "host/judge/limit.h"

#include <algorithm>
#include <limits>

namespace host::judge {
namespace {

using steadyrail::proto::LimitSet;
using steadyrail::proto::RegulationLimit;

model::Microvolts bounded(std::int64_t microvolts) {
  constexpr std::int64_t kLeast = std::numeric_limits<std::int32_t>::min();
  constexpr std::int64_t kMost = std::numeric_limits<std::int32_t>::max();
  return model::Microvolts{static_cast<std::int32_t>(std::clamp(microvolts, kLeast, kMost))};
}

const RegulationLimit* row_for(const LimitSet& limits, const model::JigChannel& channel) {
  const RegulationLimit* general = nullptr;
  for (const RegulationLimit& row : limits.regulation()) {
    if (row.rail() != channel.rail) continue;
    if (row.connectors().empty()) {
      if (general == nullptr) general = &row;
    } else if (std::ranges::find(row.connectors(), channel.connector) != row.connectors().end()) {
      return &row;
    }
  }
  return general;
}

}  // namespace

std::optional<ChannelLimit> limit_for(const LimitSet& limits, const model::JigChannel& channel) {
  if (channel.kind != steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE) return std::nullopt;
  if (channel.rail == steadyrail::proto::RAIL_UNKNOWN) return std::nullopt;
  const RegulationLimit* row = row_for(limits, channel);
  if (row == nullptr) return std::nullopt;
  ChannelLimit limit;
  // Documents print -12 V as "-10.8 min, -13.2 max": sorted here, so that low always means the lesser voltage.
  limit.low = bounded(std::min(row->least_uv(), row->most_uv()));
  limit.high = bounded(std::max(row->least_uv(), row->most_uv()));
  limit.status = row->status();
  limit.source = limits.document();
  if (!row->table().empty()) limit.source += ", " + row->table();
  return limit;
}

}  // namespace host::judge
