// SPDX-License-Identifier: Apache-2.0
// What the simulated PC plugs in: connectors, and the rail outputs ("taps") on them.
#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <string_view>

#include "jig.pb.h"

namespace host::simulate {

enum Connector : std::size_t {
  kMain,
  kProcessor1,
  kProcessor2,
  kGraphics1,
  kGraphics2,
  kGraphics3,
  kPeripheral,
  kConnectors
};

/// Every output of the supply at every connector that carries it. The +12 V ones come first, in connector order.
enum Tap : std::size_t {
  k12Main,
  k12Processor1,
  k12Processor2,
  k12Graphics1,
  k12Graphics2,
  k12Graphics3,
  k12Peripheral,
  k5Main,
  k5Peripheral,
  k3v3Main,
  kM12Main,
  k5SbMain,
  kTaps
};

inline constexpr std::array<Connector, kTaps> kTapConnector = {kMain,       kProcessor1, kProcessor2, kGraphics1,
                                                               kGraphics2,  kGraphics3,  kPeripheral, kMain,
                                                               kPeripheral, kMain,       kMain,       kMain};
inline constexpr std::array<steadyrail::proto::Rail, kTaps> kTapRail = {
    steadyrail::proto::RAIL_P12V, steadyrail::proto::RAIL_P12V, steadyrail::proto::RAIL_P12V,
    steadyrail::proto::RAIL_P12V, steadyrail::proto::RAIL_P12V, steadyrail::proto::RAIL_P12V,
    steadyrail::proto::RAIL_P12V, steadyrail::proto::RAIL_P5V,  steadyrail::proto::RAIL_P5V,
    steadyrail::proto::RAIL_P3V3, steadyrail::proto::RAIL_M12V, steadyrail::proto::RAIL_P5VSB};

/// Connector by its name in a jig description ("graphics-1"); none of that name: empty.
std::optional<Connector> connector_named(std::string_view name);
/// The tap of a rail on a connector; empty where the simulated supply has none.
std::optional<Tap> tap_of(steadyrail::proto::Rail rail, Connector connector);

}  // namespace host::simulate
