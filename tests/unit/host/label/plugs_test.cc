// SPDX-License-Identifier: Apache-2.0
// What plugs may carry, restated from the documents: 336521 revision 2.0, Table 3-5 (75, 150 and 600 W; 6.75, 13.5 and
// 55 A r.m.s. over any second), Tables 5-4, 5-5, 5-7 and 5-8 (circuits; 8.0 and 9.2 A a contact at 30 K rise), Table
// 5-1 (24-way main plug, order of pins restated by a secondary page).
#include "host/label/plugs.h"

#include <gmock/gmock.h>

#include "tests/unit/host/label/system_fixture.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;
using testing::HasSubstr;

TEST(PlugsTest, GraphicsPlugsCarryWhatTheirDocumentPrints) {
  const auto expect = [](proto::PlugKind kind, double watts, double amps, std::uint32_t circuits) {
    const proto::PlugClass& one = plugs().of(kind);
    EXPECT_EQ(one.kind(), kind);
    EXPECT_EQ(one.watts().value(), watts);
    EXPECT_EQ(one.amps_rms().value(), amps);
    EXPECT_EQ(one.watts().status(), proto::LIMIT_STATUS_READ);
    EXPECT_EQ(plugs().circuits(kind, proto::RAIL_P12V), circuits);
    EXPECT_EQ(plugs().circuits(kind, proto::RAIL_P5V), 0U);
  };
  expect(proto::PLUG_KIND_GRAPHICS_2X3, 75, 6.75, 3);
  expect(proto::PLUG_KIND_GRAPHICS_2X4, 150, 13.5, 3);
  expect(proto::PLUG_KIND_GRAPHICS_2X6, 600, 55, 6);
  EXPECT_EQ(plugs().of(proto::PLUG_KIND_GRAPHICS_2X3).circuit_amps().value(), 8.0);
  EXPECT_EQ(plugs().of(proto::PLUG_KIND_GRAPHICS_2X6).circuit_amps().value(), 9.2);
}

// Pins of the main plug: +12 V 10, 11; +5 V 4, 6, 21, 22, 23; +3.3 V 1, 2, 12, 13; returns 3, 5, 7, 15, 17, 18, 19, 24.
TEST(PlugsTest, MainPlugHasTheCircuitsOfItsPins) {
  EXPECT_EQ(plugs().circuits(proto::PLUG_KIND_MAIN_24, proto::RAIL_P12V), 2U);
  EXPECT_EQ(plugs().circuits(proto::PLUG_KIND_MAIN_24, proto::RAIL_P5V), 5U);
  EXPECT_EQ(plugs().circuits(proto::PLUG_KIND_MAIN_24, proto::RAIL_P3V3), 4U);
  EXPECT_EQ(plugs().of(proto::PLUG_KIND_MAIN_24).return_circuits(), 8U);
}

TEST(PlugsTest, EveryValueSaysWhereItStandsAndWhetherItWasRead) {
  for (int kind = 1; kind < proto::PlugKind_ARRAYSIZE; ++kind) {
    const proto::PlugClass& one = plugs().of(static_cast<proto::PlugKind>(kind));
    for (const proto::PlugValue* value : {&one.circuits_from(), &one.watts(), &one.amps_rms(), &one.circuit_amps()}) {
      if (value->document().empty() && !value->has_value()) continue;
      EXPECT_NE(value->document(), "") << one.title();
      EXPECT_NE(value->status(), proto::LIMIT_STATUS_UNKNOWN) << one.title();
      if (value->status() == proto::LIMIT_STATUS_READ) {
        EXPECT_NE(value->table() + value->source(), "") << one.title();
        EXPECT_NE(value->source(), "") << one.title();
      }
    }
  }
}

// Document's step test from 100 to 300 %; the rows between are from memory and say so.
TEST(PlugsTest, CardExcursionsFallWithTheirLength) {
  EXPECT_EQ(plugs().card_percent(50e-6), 300);
  EXPECT_EQ(plugs().card_percent(100e-6), 300);
  EXPECT_EQ(plugs().card_percent(101e-6), 250);
  EXPECT_EQ(plugs().card_percent(0.1), 150);
  EXPECT_EQ(plugs().card_percent(0.2), 100);
  EXPECT_EQ(plugs().card_percent_from().status(), proto::LIMIT_STATUS_FROM_MEMORY);
}

TEST(PlugsTest, AFileThatLacksAKindIsNamed) {
  const auto read = Plugs::from_text("classes { kind: PLUG_KIND_MAIN_24 }", "own.textproto");
  ASSERT_FALSE(read.has_value());
  const std::string words = model::to_string(read.error());
  EXPECT_THAT(words, HasSubstr("own.textproto:1:1: a plug has no title"));
  EXPECT_THAT(words, HasSubstr("PLUG_KIND_GRAPHICS_2X6 is missing"));
}

TEST(FamilyOfTest, IsTheWordBeforeTheNumber) {
  EXPECT_EQ(family_of("graphics-12"), "graphics");
  EXPECT_EQ(family_of("main"), "main");
}

}  // namespace
}  // namespace host::label
