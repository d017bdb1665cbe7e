// SPDX-License-Identifier: Apache-2.0
// Wire and contacts against published tables; sources stand beside the values.
#include "host/judge/cable_ohm.h"

#include <gtest/gtest.h>

#include <random>
#include <string>
#include <vector>

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

steadyrail::proto::Unit unit_with_returns() {
  steadyrail::proto::Unit unit;
  const auto add = [&](const std::string& connector, double length_m, unsigned circuits) {
    auto* cable = unit.add_cables();
    cable->set_connector(connector);
    cable->set_rail(steadyrail::proto::RAIL_P12V);
    cable->set_awg(18);
    cable->set_length_m(length_m);
    cable->set_return_circuits(circuits);
    cable->set_temperature_c(20);
  };
  add("graphics-1", 0.65, 3);
  add("graphics-2", 0.9, 2);
  return unit;
}

// 18 AWG 20.95 mohm/m (gauge table) with half of the strands' 3.9 %; two contacts of 3.09 mohm up to the tap and one
// behind it. By hand: graphics-1 (13.62 x 1.0197 + 6.18) / 3 = 6.688 mohm and 1.03 behind; graphics-2 (18.86 x 1.0197 +
// 6.18) / 2 = 12.703 and 1.545. All of an ampere shares over 7.718 and 14.248 mohm: 5.006; the tap stands at 6.688 /
// 7.718 of it: 4.338 mohm.
TEST(ReturnOhmTest, IsTheGroupsWiresInParallelAsFarAsTheTap) {
  const steadyrail::proto::Unit unit = unit_with_returns();
  const std::vector<std::string> group = {"graphics-1", "graphics-2"};
  const auto ohm = return_ohm(&unit, group);
  ASSERT_TRUE(ohm.has_value());
  EXPECT_NEAR(1e3 * ohm->expected, 4.338, 0.003);
}

// The bound against drawn contacts: two-valued between least and most with the tested mean, which spreads widest of all
// that can have that mean. 97.7 % must lie below (2 standard deviations, one side); two-valued draws are skewed, so a
// little less is let pass.
TEST(ReturnOhmTest, DrawnContactsLieBelowTheMost) {
  const steadyrail::proto::Unit unit = unit_with_returns();
  const std::vector<std::string> group = {"graphics-1", "graphics-2"};
  const auto ohm = return_ohm(&unit, group);
  ASSERT_TRUE(ohm.has_value());
  std::mt19937_64 random(3);
  std::bernoulli_distribution bad((3.09 - 2.85) / (10 - 2.85));
  std::uniform_real_distribution<double> strands(1, 6.636 / 6.385);
  const auto contact = [&] { return bad(random) ? 10.0 : 2.85; };
  constexpr int kDraws = 20000;
  int below = 0;
  double mean = 0;
  for (int draw = 0; draw < kDraws; ++draw) {
    const double factor = strands(random);
    double up[2];
    double behind[2];
    const double wire[2] = {0.65 * 20.95, 0.9 * 20.95};
    const int circuits[2] = {3, 2};
    for (int plug = 0; plug < 2; ++plug) {
      double above = 0;
      double below_tap = 0;
      for (int i = 0; i < circuits[plug]; ++i) {
        above += 1 / (wire[plug] * factor + contact() + contact());
        below_tap += 1 / contact();
      }
      up[plug] = 1 / above;
      behind[plug] = 1 / below_tap;
    }
    const double all = 1 / (1 / (up[0] + behind[0]) + 1 / (up[1] + behind[1]));
    const double tapped = all * up[0] / (up[0] + behind[0]);
    mean += tapped / kDraws;
    below += tapped <= 1e3 * ohm->most;
  }
  EXPECT_NEAR(mean, 1e3 * ohm->expected, 0.02 * mean);
  EXPECT_GE(below, kDraws * 95 / 100);
  EXPECT_LT(below, kDraws);
}

TEST(ReturnOhmTest, SaysWhatIsMissing) {
  steadyrail::proto::Unit unit = unit_with_returns();
  const std::vector<std::string> group = {"graphics-1", "graphics-2"};
  EXPECT_FALSE(return_ohm(nullptr, group));
  unit.mutable_cables(1)->clear_return_circuits();
  const auto uncounted = return_ohm(&unit, group);
  ASSERT_FALSE(uncounted.has_value());
  EXPECT_EQ(uncounted.error(), "the unit's description does not count the wires back from graphics-2");
  unit = unit_with_returns();
  unit.mutable_cables(0)->clear_length_m();
  EXPECT_EQ(return_ohm(&unit, group).error(), "the unit's description names no length of the cable to graphics-1");
  EXPECT_FALSE(return_ohm(&unit, std::vector<std::string>{}));
}

}  // namespace
}  // namespace host::judge
