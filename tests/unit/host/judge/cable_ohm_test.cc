// SPDX-License-Identifier: Apache-2.0
// Wire and contacts against published tables; sources stand beside the values.
#include "host/judge/cable_ohm.h"

#include <gtest/gtest.h>

namespace host::judge {
namespace {

// mohm/m as a wire gauge table in metric units prints them (solid copper, 20 degrees Celsius); half of the last digit.
TEST(WireOhmTest, AgreesWithTheGaugeTable) {
  const struct {
    unsigned awg;
    double milliohm_per_m;
    double half_digit;
  } table[] = {{14, 8.28, 0.005},  {16, 13.18, 0.005}, {18, 20.95, 0.005}, {20, 33.30, 0.005},
               {22, 52.95, 0.005}, {24, 84.22, 0.005}, {28, 212.9, 0.05}};
  for (const auto& row : table) {
    ASSERT_TRUE(wire_ohm_per_m(row.awg)) << row.awg;
    EXPECT_NEAR(1e3 * *wire_ohm_per_m(row.awg), row.milliohm_per_m, 1.001 * row.half_digit) << row.awg;
  }
  EXPECT_FALSE(wire_ohm_per_m(17));
  EXPECT_FALSE(wire_ohm_per_m(0));
}

// Copper, 0.00393 /K at 20 degrees Celsius (IEC 60028, from memory): 1.157 at 60.
TEST(WireOhmTest, CopperWarms) {
  EXPECT_DOUBLE_EQ(copper_factor(20), 1);
  EXPECT_NEAR(copper_factor(60), 1.157, 5e-4);
}

steadyrail::proto::Unit unit_with_cable() {
  steadyrail::proto::Unit unit;
  auto* cable = unit.add_cables();
  cable->set_connector("graphics-1");
  cable->set_rail(steadyrail::proto::RAIL_P12V);
  cable->set_awg(18);
  cable->set_length_m(0.6);
  cable->set_circuits(1);
  return unit;
}

// One circuit, 0.6 m of 18 AWG: 12.57 mohm of wire; contacts 3.09 mohm mean and 2.85 least (measured after 20 matings,
// a connector maker's test summary), 10 mohm most (from memory).
TEST(CableOhmTest, WireAndTwoContactsInParallelCircuits) {
  steadyrail::proto::Unit unit = unit_with_cable();
  const auto one = cable_ohm(&unit, "graphics-1", steadyrail::proto::RAIL_P12V);
  ASSERT_TRUE(one.has_value());
  EXPECT_NEAR(one->expected, 0.6 * 20.95e-3 + 2 * 3.09e-3, 1e-5);
  EXPECT_NEAR(one->least, 0.6 * 20.95e-3 + 2.85e-3, 1e-5);
  EXPECT_NEAR(one->most, 0.6 * 21.77e-3 * 1.157 + 20e-3, 2e-5);  // seven strands: 21.77 mohm/m in a wire maker's table
  unit.mutable_cables(0)->set_circuits(3);
  unit.mutable_cables(0)->set_temperature_c(60);
  const auto three = cable_ohm(&unit, "graphics-1", steadyrail::proto::RAIL_P12V);
  EXPECT_NEAR(three->expected, (0.6 * 20.95e-3 * 1.157 + 2 * 3.09e-3) / 3, 1e-5);
}

TEST(CableOhmTest, SaysWhatIsMissing) {
  const auto refused = [](const steadyrail::proto::Unit* unit, std::string_view connector = "graphics-1") {
    const auto ohm = cable_ohm(unit, connector, steadyrail::proto::RAIL_P12V);
    return ohm ? std::string() : ohm.error();
  };
  EXPECT_NE(refused(nullptr).find("no unit"), std::string::npos);
  steadyrail::proto::Unit unit = unit_with_cable();
  EXPECT_NE(refused(&unit, "graphics-2").find("no cable to graphics-2"), std::string::npos);
  unit.mutable_cables(0)->clear_length_m();
  EXPECT_NE(refused(&unit).find("length"), std::string::npos);
  unit.mutable_cables(0)->set_length_m(0.6);
  unit.mutable_cables(0)->clear_circuits();
  EXPECT_NE(refused(&unit).find("circuits"), std::string::npos);
  unit.mutable_cables(0)->set_circuits(1);
  unit.mutable_cables(0)->set_temperature_c(4000);
  EXPECT_NE(refused(&unit).find("temperature"), std::string::npos);
  unit.mutable_cables(0)->clear_temperature_c();
  unit.mutable_cables(0)->clear_awg();
  EXPECT_NE(refused(&unit).find("gauge"), std::string::npos);
  unit.set_wire_awg(18);  // the thinnest printed on the +12 V cables stands in
  EXPECT_EQ(refused(&unit), "");
  unit.mutable_cables(0)->set_awg(17);
  EXPECT_NE(refused(&unit).find("17 AWG"), std::string::npos);
}

}  // namespace
}  // namespace host::judge
