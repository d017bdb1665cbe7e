// SPDX-License-Identifier: Apache-2.0
// Which two connectors of a rail are held against each other, and what their voltages can tell. The common supply
// cancels in y = V_A - V_B; with both returns known, y + (G_A - G_B) holds the supply conductors alone, for all returns
// meet at the board and at the card, so a plug's return current is not its supply current.
#pragma once

#include <cstddef>
#include <optional>
#include <string_view>
#include <vector>

#include "host/model/jig.h"

namespace host::detect {

enum class Conductor { kSupply, kSupplyAndReturn, kAsymmetry };

std::string_view conductor_word(Conductor conductor);

/// Places are channel indices.
struct ConnectorPair {
  std::size_t a = 0;
  std::size_t b = 0;
  std::size_t current_a = 0;
  std::optional<std::size_t> current_b{};  // absent: none, or A's own
  bool shared_b = false;                   // B's current is measured together with another connector's
  std::optional<std::size_t> ground_a{};   // with kSupply: absent means at the main connector
  std::optional<std::size_t> ground_b{};
  Conductor conductor = Conductor::kSupply;

  /// V between the two connectors, with what their returns differ by where that is known. `value_of`: V or A of a
  /// channel.
  template <typename ValueOf>
  double volts(ValueOf value_of) const {
    double y = value_of(a) - value_of(b);
    if (conductor != Conductor::kSupply) return y;
    if (ground_a) y += value_of(*ground_a);
    if (ground_b) y -= value_of(*ground_b);
    return y;
  }
};

/// Every connector with a current channel, against the rail's first connector whose return is known (the main one
/// before others); two that share a current channel against each other.
std::vector<ConnectorPair> connector_pairs(const model::Jig& jig);

}  // namespace host::detect
