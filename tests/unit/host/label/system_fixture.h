// SPDX-License-Identifier: Apache-2.0
// PCs to add up, and the plugs they use.
#pragma once

#include <gtest/gtest.h>

#include <string>
#include <string_view>

#include "host/label/load_budget.h"
#include "host/label/system_text.h"
#include "tests/unit/host/label/label_fixture.h"

namespace host::label {

inline const Plugs& plugs() {
  static const Plugs kPlugs = [] {
    auto read = Plugs::shipped();
    if (!read) ADD_FAILURE() << model::to_string(read.error());
    return read.value();
  }();
  return kPlugs;
}

inline steadyrail::proto::System system_of(std::string_view text) {
  auto system = system_from_text(text, "pc.textproto", rules(), plugs());
  if (!system) ADD_FAILURE() << model::to_string(system.error());
  return system.value_or(steadyrail::proto::System{});
}

// By hand: the processor's plug carries 132 / 0.88 = 150 W = 12.5 A, the card 300 W = 25 A, of which 10 % come by the
// main plug (2.5 A) and the rest by two plugs (11.25 A each); for 1 ms twice as much. +5 V 4 A.
inline constexpr std::string_view kPc = R"(id: "P-1"
parts { name: "processor" kind: PART_KIND_PROCESSOR
  draws { rail: RAIL_P12V watts: 132 efficiency: 0.88 inlets { plug: "cpu" } } }
parts { name: "graphics" kind: PART_KIND_GRAPHICS
  draws { rail: RAIL_P12V watts: 300
    excursions { duration_s: 1e-3 percent: 200 }
    inlets { plug: "main" share: 0.1 } inlets { plug: "card-a" } inlets { plug: "card-b" } } }
parts { name: "board" kind: PART_KIND_BOARD draws { rail: RAIL_P5V amps: 4 inlets { plug: "main" } } }
cables { socket: "main" plugs { name: "main" kind: PLUG_KIND_MAIN_24 } }
cables { socket: "processor-1" plugs { name: "cpu" kind: PLUG_KIND_PROCESSOR_2X4 } }
cables { socket: "graphics-1" plugs { name: "card-a" kind: PLUG_KIND_GRAPHICS_2X4 } }
cables { socket: "graphics-2" plugs { name: "card-b" kind: PLUG_KIND_GRAPHICS_2X4 } }
)";

/// `kPc` with one piece of text replaced by another; the piece must be there.
inline std::string pc_but(std::string_view piece, std::string_view other) {
  std::string text(kPc);
  const auto at = text.find(piece);
  if (at == text.npos) {
    ADD_FAILURE() << "no such piece: " << piece;
    return text;
  }
  return text.replace(at, piece.size(), other);
}

}  // namespace host::label
