// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/connectors.h"

namespace host::simulate {

std::optional<Connector> connector_named(std::string_view name) {
  static constexpr std::array<std::string_view, kConnectors> kNames = {
      "main", "processor-1", "processor-2", "graphics-1", "graphics-2", "graphics-3", "peripheral"};
  for (std::size_t i = 0; i < kNames.size(); ++i) {
    if (kNames[i] == name) return static_cast<Connector>(i);
  }
  return std::nullopt;
}

std::optional<Tap> tap_of(steadyrail::proto::Rail rail, Connector connector) {
  for (std::size_t i = 0; i < kTaps; ++i) {
    if (kTapRail[i] == rail && kTapConnector[i] == connector) return static_cast<Tap>(i);
  }
  return std::nullopt;
}

}  // namespace host::simulate
