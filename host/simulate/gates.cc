// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/supply_parameters.h"

namespace host::simulate {
namespace {

namespace proto = steadyrail::proto;

std::optional<Tap> plug_of(const proto::JigDescription& jig, const proto::LoadBankBranch& branch) {
  for (const proto::Channel& channel : jig.channels()) {
    if (branch.current_channel().empty() || channel.current_channel() != branch.current_channel()) continue;
    const auto connector = connector_named(channel.connector());
    const auto tap = connector ? tap_of(branch.rail(), *connector) : std::nullopt;
    if (tap) return tap;
  }
  for (std::size_t c = 0; c < kConnectors; ++c) {
    if (const auto tap = tap_of(branch.rail(), static_cast<Connector>(c))) return tap;
  }
  return std::nullopt;
}

}  // namespace

GateBranches gates_of(const proto::JigDescription& jig) {
  GateBranches gates{};
  for (const proto::LoadBankBranch& branch : jig.load_bank().branches()) {
    const auto tap = plug_of(jig, branch);
    if (tap && branch.gate() < kGates) gates[branch.gate()] = {*tap, branch.amps()};
  }
  return gates;
}

}  // namespace host::simulate
