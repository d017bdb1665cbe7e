// SPDX-License-Identifier: Apache-2.0
// Load programmes against bank and label. Currents are those of the reference jig's bank (hardware-notes/load-bank.md);
// sums by hand, beside the checks.
#include "host/label/load_plan.h"

#include <gtest/gtest.h>

#include "host/data/shipped.h"
#include "host/label/bench_programme.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

const model::Jig& jig() {
  static const model::Jig kJig = model::Jig::from_text(*data::shipped("jigs/reference.textproto"), "reference").value();
  return kJig;
}

proto::Unit unit(double amps_12v = 56, double total_w = 690) {
  proto::Unit out;
  out.set_id("U-9");
  out.set_total_w(total_w);
  const auto add = [&](proto::Rail rail, double amps) {
    out.add_rails()->set_rail(rail);
    out.mutable_rails(out.rails_size() - 1)->set_amps(amps);
  };
  add(proto::RAIL_P12V, amps_12v);
  add(proto::RAIL_P5V, 19);
  add(proto::RAIL_P3V3, 21);
  return out;
}

std::string complaint(const std::string& text, const proto::Unit& label = unit()) {
  const auto checked = check_programme(text, "p.textproto", jig(), label);
  return checked ? "" : model::to_string(checked.error());
}

std::string phases(const std::string& steps, const std::string& more = "") {
  return "phases {\n  name: \"one\" " + more + "\n" + steps + "}\n";
}

std::string phase(const std::string& steps, const std::string& more = "") {
  return "id: \"p\"\n" + phases(steps, more);
}

std::string steps(std::initializer_list<int> gates, unsigned on_us, unsigned off_us) {
  std::string out;
  for (const bool on : {true, false}) {
    bool first = true;
    for (const int gate : gates) {
      out += "  steps { gate: " + std::to_string(gate) + " on: " + (on ? "true" : "false");
      if (first) out += " after_us: " + std::to_string(on ? off_us : on_us);
      out += " }\n";
      first = false;
    }
  }
  return out;
}

TEST(LoadPlanTest, AddsUpWhatAProgrammeDraws) {
  const auto checked = check_programme(
      phase(steps({0, 6}, 20'000, 30'000), "repeat: 30 rest_s: 2") + phases(steps({1, 3}, 500'000, 0), "rest_s: 1"),
      "p", jig(), unit());
  ASSERT_TRUE(checked.has_value()) << model::to_string(checked.error());
  const proto::LoadPlan& plan = checked->plan;
  ASSERT_EQ(plan.phases_size(), 2);
  const proto::PlannedPhase& first = plan.phases(0);
  EXPECT_NEAR(first.power_w_most(), 12 * 9.71 + 5 * 9.88, 1e-6);
  EXPECT_NEAR(first.duration_s(), 30 * 0.05, 1e-12);
  EXPECT_NEAR(first.energy_j(), 30 * 0.02 * (12 * 9.71 + 5 * 9.88), 1e-6);
  EXPECT_NEAR(first.power_w_mean(), 0.4 * (12 * 9.71 + 5 * 9.88), 1e-6);
  EXPECT_NEAR(first.rounds_per_s(), 20, 1e-9);
  ASSERT_EQ(first.rails_size(), 2);
  EXPECT_NEAR(first.rails(0).amps_most(), 9.71, 1e-9);
  EXPECT_NEAR(plan.phases(1).rails(0).amps_most(), 2 * 9.71, 1e-9);
  EXPECT_NEAR(plan.energy_j(), first.energy_j() + 0.5 * 24 * 9.71, 1e-6);
  EXPECT_NEAR(plan.duration_s(), 3 + 1.5 + 2 + 0.5 + 1 + 1, 1e-9) << "supply on before and after, rests";
  EXPECT_EQ(plan.power_w_allowed(), 650) << "the bank's, below the label's 690";
  EXPECT_EQ(plan.rails(0).amps_allowed(), 56);
  EXPECT_EQ(checked->bank.branches_size(), 8);
  const proto::LoadSteps told = load_steps(checked->programme.phases(0));
  EXPECT_EQ(told.repeat(), 30U);
  ASSERT_EQ(told.steps_size(), 4);
  EXPECT_EQ(told.steps(0).after_us(), 30'000U);
  EXPECT_EQ(told.steps(3).gate(), 6U);
  EXPECT_FALSE(told.steps(3).on());
}

TEST(LoadPlanTest, WhatShipsMayBePlayedOnTheUnitsThatShip) {
  for (const char* name : {"units/u-1.textproto", "units/u-3.textproto"}) {
    proto::Unit label;
    ASSERT_TRUE(model::parse_text(*data::shipped(name), name, label).has_value());
    const auto checked = check_programme(*data::shipped("programmes/steps.textproto"), "steps", jig(), label);
    EXPECT_TRUE(checked.has_value()) << name << ": " << (checked ? "" : model::to_string(checked.error()));
  }
}

/// What 'label' writes for a unit is played as it is.
TEST(LoadPlanTest, WhatIsWrittenFromALabelMayBePlayedOnIt) {
  for (const char* name : {"units/u-1.textproto", "units/u-2.textproto", "units/u-3.textproto"}) {
    proto::Unit label;
    ASSERT_TRUE(model::parse_text(*data::shipped(name), name, label).has_value());
    const auto bench = bench_programme(jig(), label, nullptr, nullptr);
    ASSERT_TRUE(bench.has_value()) << name;
    const auto checked = check_programme(programme_text(*bench), "p", jig(), label);
    EXPECT_TRUE(checked.has_value()) << name << ": " << (checked ? "" : model::to_string(checked.error()));
  }
}

TEST(LoadPlanTest, HoldsARailToTheLabelAtEveryInstant) {
  EXPECT_EQ(complaint(phase(steps({0, 1, 3}, 20'000, 20'000)), unit(29.13)), "") << "3 x 9.71 A: exactly the label's";
  EXPECT_EQ(complaint(phase(steps({0, 1, 3}, 20'000, 20'000)), unit(29.12)),
            "p.textproto:6:3: 29.13 A on +12V here; bank and label allow 29.12 A");
  // Taken together: 1 goes off at the instant at which 3 comes on.
  EXPECT_EQ(complaint(phase("  steps { gate: 1 on: true }\n  steps { gate: 3 on: true after_us: 100 }\n"
                            "  steps { gate: 1 on: false }\n  steps { gate: 3 on: false after_us: 100 }\n"),
                      unit(9.8)),
            "");
}

TEST(LoadPlanTest, HoldsPowerEnergyAndTimeOn) {
  EXPECT_NE(
      complaint(phase(steps({0, 1, 2, 3, 4, 5, 6}, 100, 100)), unit()).find("691 W here; bank and label allow 650 W"),
      std::string::npos)
      << "642 + 49 W";
  EXPECT_NE(complaint(phase(steps({0}, 1000, 1000)), unit(56, 100)).find("117 W here; bank and label allow 100 W"),
            std::string::npos);
  EXPECT_NE(complaint(phase(steps({0}, 60'000'001, 100))).find("gate 0 would be on for 60.0 s"), std::string::npos);
  EXPECT_EQ(complaint(phase(steps({0}, 60'000'000, 100))), "");
  // 583 W for 30 s, four times: 17.5 kJ each, 70 kJ together in one go.
  EXPECT_NE(complaint(phase(steps({0, 1, 2, 3, 4}, 30'000'000, 1000), "repeat: 4")).find("takes 69912 J"),
            std::string::npos);
}

TEST(LoadPlanTest, HoldsTheHeatOfPhasesThatFollowOneAnother) {
  // Twice 583 W for 60 s, 35.0 kJ each; the bank gives off 1 kW while it plays and rests: it never holds 60 kJ.
  const std::string one = "phases {\n" + steps({0, 1, 2, 3, 4}, 60'000'000, 1000) + "}\n";
  const auto checked = check_programme("id: \"p\"\n" + one + one, "p", jig(), unit());
  ASSERT_TRUE(checked.has_value()) << model::to_string(checked.error());
  EXPECT_NEAR(checked->plan.energy_j(), 2 * 60 * 12 * 5 * 9.71, 1e-3);
  EXPECT_NEAR(checked->plan.heat_j_most(), 60 * 12 * 5 * 9.71, 1e-3);
}

TEST(LoadPlanTest, HoldsEdgesToWhatTheGatesCanDo) {
  EXPECT_EQ(complaint(phase(steps({0}, 40, 60), "repeat: 1000")), "");
  EXPECT_NE(complaint(phase(steps({0}, 39, 61), "repeat: 1000")).find("39 us apart"), std::string::npos);
  EXPECT_NE(complaint(phase(steps({0}, 61, 39), "repeat: 2")).find("39 us apart"), std::string::npos)
      << "between two rounds";
  EXPECT_EQ(complaint(phase(steps({0}, 61, 39))), "") << "one round has no such edge";
  EXPECT_NE(complaint(phase(steps({0}, 49, 50), "repeat: 2")).find("faster than 10000 rounds"), std::string::npos);
  // 13 us apart, on gates in turn: the 25th time within a millisecond is one too many.
  std::string dense;
  for (int k = 0; k < 32; ++k) {
    dense += "  steps { gate: " + std::to_string(k % 4) + " on: " + (k / 4 % 2 == 0 ? "true" : "false") +
             " after_us: 13 }\n";
  }
  EXPECT_NE(complaint(phase(dense), unit(90, 2000)).find("24 times of edges within a millisecond"), std::string::npos);
}

TEST(LoadPlanTest, NamesThePlaceOfEverythingThatMakesNoSense) {
  EXPECT_EQ(complaint("id: \"p\"\n"), "p.textproto: the programme has no phases");
  EXPECT_NE(
      complaint("id: \"p\"\njig: \"J-02\"\n" + phases("")).find("p.textproto:2:1: written for jig J-02, not for J-01"),
      std::string::npos);
  EXPECT_EQ(complaint(phase("")), "p.textproto:2:1: phase 'one' has 0 steps, not from 1 to 32");
  EXPECT_EQ(complaint(phase("  steps { gate: 8 on: true }\n")), "p.textproto:4:11: the jig's load bank has no gate 8");
  EXPECT_EQ(complaint(phase("  steps { gate: 0 on: true }\n")),
            "p.textproto:2:1: phase 'one' leaves gate 0 on: its last steps switch it off");
  EXPECT_EQ(complaint(phase("  steps { gate: 0 on: false }\n")), "p.textproto:4:19: gate 0 is off already");
  EXPECT_NE(complaint(phase("  steps { gate: 0 on: true amps: 5 }\n"))
                .find("draws 9.71 A by the jig's description, not 5.00 A"),
            std::string::npos);
  EXPECT_NE(complaint(phase(steps({0}, 100, 100), "rest_s: 0.4")).find("rest_s is 0.4"), std::string::npos);
  EXPECT_NE(complaint("before_s: 1 " + phase(steps({0}, 100, 100))).find("before_s is 1"), std::string::npos);
  EXPECT_NE(complaint("after_s: nan " + phase(steps({0}, 100, 100))).find("after_s is nan"), std::string::npos);
  EXPECT_NE(complaint("id: \"p\" gate: 3").find("p.textproto:1:"), std::string::npos);
  proto::Unit silent = unit();
  silent.mutable_rails(1)->clear_amps();
  EXPECT_NE(complaint(phase(steps({0}, 100, 100)), silent).find("prints no current for +5V"), std::string::npos);
}

}  // namespace
}  // namespace host::label
