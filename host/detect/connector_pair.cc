// SPDX-License-Identifier: Apache-2.0
#include "host/detect/connector_pair.h"

#include <algorithm>

namespace host::detect {
namespace {

using model::JigChannel;

// Ground-offset channels read against the return of this connector.
constexpr std::string_view kGroundOfAll = "main";

bool is_rail(const JigChannel& channel) {
  return channel.kind == steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE;
}

/// The return of this very connector is known, not only that of a neighbour in its group.
bool return_known(const model::Jig& jig, const JigChannel& channel) {
  if (!channel.ground) return channel.connector == kGroundOfAll;
  return jig.at(*channel.ground)->connector == channel.connector;
}

std::size_t sharers(const model::Jig& jig, const JigChannel& channel) {
  return static_cast<std::size_t>(std::ranges::count_if(
      jig.channels(), [&](const JigChannel& other) { return is_rail(other) && other.current == channel.current; }));
}

const JigChannel* reference_of(const model::Jig& jig, const JigChannel& channel) {
  const JigChannel* best = nullptr;
  for (const JigChannel& other : jig.channels()) {
    if (!is_rail(other) || other.rail != channel.rail || other.index == channel.index) continue;
    if (!return_known(jig, other)) continue;
    if (best == nullptr || (best->ground && !other.ground)) best = &other;
  }
  return best;
}

std::optional<ConnectorPair> pair_of(const model::Jig& jig, const JigChannel& channel) {
  const bool shared = sharers(jig, channel) > 1;
  const JigChannel* reference = nullptr;
  if (shared) {
    for (const JigChannel& other : jig.channels()) {
      if (is_rail(other) && other.current == channel.current && other.index > channel.index) {
        reference = &other;
        break;
      }
    }
  } else {
    reference = reference_of(jig, channel);
  }
  if (reference == nullptr) return std::nullopt;
  ConnectorPair pair;
  pair.a = channel.index;
  pair.b = reference->index;
  pair.current_a = *channel.current;
  if (shared) {
    pair.conductor = Conductor::kAsymmetry;
    return pair;
  }
  pair.current_b = reference->current;
  pair.shared_b = reference->current && sharers(jig, *reference) > 1;
  pair.conductor = return_known(jig, channel) ? Conductor::kSupply : Conductor::kSupplyAndReturn;
  if (pair.conductor == Conductor::kSupply) {
    pair.ground_a = channel.ground;
    pair.ground_b = reference->ground;
  }
  return pair;
}

}  // namespace

std::string_view conductor_word(Conductor conductor) {
  switch (conductor) {
    case Conductor::kSupply:
      return "supply";
    case Conductor::kSupplyAndReturn:
      return "supply-and-return";
    case Conductor::kAsymmetry:
      return "asymmetry";
  }
  return "";
}

std::vector<ConnectorPair> connector_pairs(const model::Jig& jig) {
  std::vector<ConnectorPair> pairs;
  for (const JigChannel& channel : jig.channels()) {
    if (!is_rail(channel) || !channel.current) continue;
    if (const auto pair = pair_of(jig, channel)) pairs.push_back(*pair);
  }
  return pairs;
}

}  // namespace host::detect
