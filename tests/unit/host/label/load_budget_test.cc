// SPDX-License-Identifier: Apache-2.0
// A PC against a label and its plugs, by hand.
#include "host/label/load_budget.h"

#include <gmock/gmock.h>

#include "host/label/budget_table.h"
#include "tests/unit/host/label/system_fixture.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;
using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;

// 12 x 60 = 720 W; every socket the PC asks for. The label of label_fixture.h has no sockets.
std::string unit_text(std::string_view piece = "", std::string_view other = "") {
  std::string text = sound_but(piece, other);
  return text + "sockets: [\"main\", \"processor-1\", \"graphics-1\", \"graphics-2\"]";
}

proto::LimitSet table(proto::LimitStatus status) {
  proto::LimitSet limits;
  proto::ExcursionRow& row = *limits.add_excursion();
  row.set_duration_s(1e-3);
  row.set_percent_small(140);
  row.set_percent_large(180);
  row.set_status(status);
  return limits;
}

proto::LoadBudget budget_of(const std::string& unit, const std::string& pc,
                            const proto::LimitSet& limits = table(proto::LIMIT_STATUS_READ)) {
  return load_budget(unit_of(unit), system_of(pc), rules(), plugs(), &limits);
}

const proto::LoadLink& find_link(const proto::LoadBudget& budget, proto::LinkKind kind, std::string_view name,
                                 bool steady = true) {
  const auto found = std::ranges::find_if(budget.links(), [&](const proto::LoadLink& link) {
    return link.kind() == kind && link.name() == name && link.has_duration_s() != steady;
  });
  if (found != budget.links().end()) return *found;
  ADD_FAILURE() << "no link " << name;
  static const proto::LoadLink kNone;
  return kNone;
}

const proto::LoadCurrent& find_current(const proto::LoadBudget& budget, proto::LinkKind kind, std::string_view name) {
  const auto found = std::ranges::find_if(
      budget.currents(), [&](const proto::LoadCurrent& row) { return row.kind() == kind && row.name() == name; });
  if (found != budget.currents().end()) return *found;
  ADD_FAILURE() << "no current " << name;
  static const proto::LoadCurrent kNone;
  return kNone;
}

// Of three circuits with one at three times the others' resistance the good ones carry 3/7 each instead of a third;
// Ohm's law.
TEST(UnevenFactorTest, IsTheShareOfTheGoodCircuits) {
  EXPECT_DOUBLE_EQ(uneven_factor(1), 1);
  EXPECT_NEAR(uneven_factor(3), 9.0 / 7, 1e-12);
  EXPECT_NEAR(uneven_factor(6), 6 / (5 + 1.0 / 3), 1e-12);
}

// +12 V: 12.5 + 25 = 37.5 A steady, 12.5 + 50 = 62.5 A for 1 ms. Total: 450 + 20 = 470 W; 770 W of 750 x 1.4 = 1050 W.
TEST(LoadBudgetTest, AddsUpRailsPlugsAndCircuits) {
  const proto::LoadBudget budget = budget_of(unit_text(), std::string(kPc));
  const auto& rail = find_current(budget, proto::LINK_KIND_RAIL, "+12V");
  EXPECT_NEAR(rail.steady_a(), 37.5, 1e-9);
  EXPECT_NEAR(rail.excursion_a(), 62.5, 1e-9);
  EXPECT_EQ(rail.excursion_s(), 1e-3);
  EXPECT_NEAR(find_current(budget, proto::LINK_KIND_PLUG_AMPS, "+12V of main").steady_a(), 2.5, 1e-9);
  EXPECT_NEAR(find_current(budget, proto::LINK_KIND_PLUG_AMPS, "+12V of cpu on processor-1").steady_a(), 12.5, 1e-9);
  EXPECT_NEAR(find_current(budget, proto::LINK_KIND_PLUG_AMPS, "+12V of card-a on graphics-1").steady_a(), 11.25, 1e-9);
  EXPECT_NEAR(find_current(budget, proto::LINK_KIND_CIRCUIT, "+12V of card-a on graphics-1").steady_a(), 3.75, 1e-9);
  EXPECT_NEAR(find_current(budget, proto::LINK_KIND_CIRCUIT, "+12V of card-a on graphics-1").excursion_a(), 7.5, 1e-9);
  EXPECT_FALSE(find_current(budget, proto::LINK_KIND_RAIL, "+5V").has_excursion_s());
  EXPECT_NEAR(find_link(budget, proto::LINK_KIND_RAIL, "+12V").margin_percent(), 100 * (1 - 37.5 / 60), 1e-9);
  const auto& total = find_link(budget, proto::LINK_KIND_TOTAL, "total", false);
  EXPECT_NEAR(total.demand(), 770, 1e-9);
  EXPECT_NEAR(total.limit(), 1050, 1e-9);
  EXPECT_EQ(total.decision(), proto::LINK_DECISION_HOLDS);
}

// 135 W of 150 W: 10 % left. For 1 ms 270 W of 150 W x 2.5.
TEST(LoadBudgetTest, HoldsPlugsToTheirClass) {
  const proto::LoadBudget budget = budget_of(unit_text(), std::string(kPc));
  EXPECT_NEAR(find_link(budget, proto::LINK_KIND_PLUG_WATTS, "card-a on graphics-1").margin_percent(), 10, 1e-9);
  EXPECT_EQ(find_link(budget, proto::LINK_KIND_PLUG_WATTS, "card-a on graphics-1").table(), "Table 3-5");
  EXPECT_THAT(find_link(budget, proto::LINK_KIND_PLUG_WATTS, "card-a on graphics-1").source(), HasSubstr("https://"));
  const auto& brief = find_link(budget, proto::LINK_KIND_PLUG_WATTS, "card-a on graphics-1", false);
  EXPECT_NEAR(brief.margin_percent(), 100 * (1 - 270.0 / 375), 1e-9);
  EXPECT_EQ(brief.status(), proto::LIMIT_STATUS_FROM_MEMORY);
  EXPECT_NEAR(find_link(budget, proto::LINK_KIND_PLUG_AMPS, "card-a on graphics-1").margin_percent(),
              100 * (1 - 11.25 / 13.5), 1e-9);
}

// A 12-way plug at 600 W: 8.33 A a circuit of 9.2 A, 9.4 % left; with one circuit at three times the others' resistance
// 9.375 A: nothing left. That is doubtful, not broken: the unevenness is assumed.
TEST(LoadBudgetTest, A12WayPlugHasNoMarginWhenTerminalsShareUnevenly) {
  std::string pc = pc_but("watts: 300", "watts: 600");
  const std::string_view three =
      "inlets { plug: \"main\" share: 0.1 } inlets { plug: \"card-a\" } inlets { plug: \"card-b\" }";
  pc.replace(pc.find(three), three.size(), "inlets { plug: \"card-a\" }");
  pc.replace(pc.find("PLUG_KIND_GRAPHICS_2X4"), 22, "PLUG_KIND_GRAPHICS_2X6");
  const proto::LoadBudget budget = budget_of(unit_text("amps: 60", "amps: 90"), pc);
  const auto& circuit = find_link(budget, proto::LINK_KIND_CIRCUIT, "+12V of card-a on graphics-1");
  EXPECT_NEAR(circuit.demand(), 50.0 / 6, 1e-9);
  EXPECT_NEAR(circuit.margin_percent(), 100 * (1 - 50.0 / 6 / 9.2), 1e-9);
  EXPECT_NEAR(circuit.uneven_margin_percent(), 100 * (1 - 9.375 / 9.2), 1e-9);
  EXPECT_EQ(circuit.decision(), proto::LINK_DECISION_DOUBTFUL);
}

TEST(LoadBudgetTest, LeadsWithTheAnswerAndTheWeakestLink) {
  const proto::LoadBudget budget = budget_of(unit_text(), std::string(kPc));
  EXPECT_EQ(budget.sufficiency(), proto::SUFFICIENCY_ENOUGH);
  // 12.5 A over 4 circuits: 3.125 A of 7 A; the least margin is the class of the graphics plugs, 10 %.
  EXPECT_EQ(budget.answer(),
            "X-1 is enough for P-1, by its label. It would break first at the class of plug card-a on graphics-1, "
            "steady: 135 W asked, 150 W allowed, 10 % left.");
  EXPECT_THAT(budget.caution(), HasSubstr("a label is a claim"));
  EXPECT_THAT(budget.warnings(), Contains(HasSubstr("opposite polarity")));
}

TEST(LoadBudgetTest, SaysWhereATooSmallUnitBreaks) {
  const proto::LoadBudget budget = budget_of(unit_text("amps: 60", "amps: 30"), std::string(kPc));
  EXPECT_EQ(budget.sufficiency(), proto::SUFFICIENCY_NOT_ENOUGH);
  // 37.5 of 30 A is 25 % too much; 62.5 of 42 A (48.8 %) for 1 ms.
  EXPECT_EQ(budget.weakest().kind(), proto::LINK_KIND_RAIL);
  EXPECT_NEAR(budget.weakest().margin_percent(), 100 * (1 - 62.5 / 42), 1e-9);
  EXPECT_THAT(budget.answer(), HasSubstr("X-1 is not enough for P-1. It breaks first at +12V as a whole, for 1 ms"));
}

TEST(LoadBudgetTest, ALimitFromMemoryNeverFailsAlone) {
  // 62.5 A for 1 ms against 40 x 1.4 = 56 A from memory, with 37.5 A of 40 A steady.
  const std::string unit = unit_text("amps: 60", "amps: 40");
  EXPECT_EQ(budget_of(unit, std::string(kPc)).sufficiency(), proto::SUFFICIENCY_NOT_ENOUGH);
  const proto::LoadBudget remembered = budget_of(unit, std::string(kPc), table(proto::LIMIT_STATUS_FROM_MEMORY));
  EXPECT_EQ(remembered.sufficiency(), proto::SUFFICIENCY_DOUBTFUL);
  EXPECT_THAT(remembered.answer(), HasSubstr("(limit from memory)"));
  // 2x4 processor plug, 7 A a circuit from memory: 400 W / 12 V / 4 = 8.33 A.
  const proto::LoadBudget processor =
      budget_of(unit_text("amps: 60", "amps: 90"), pc_but("watts: 132 efficiency: 0.88", "watts: 400"));
  EXPECT_EQ(find_link(processor, proto::LINK_KIND_CIRCUIT, "+12V of cpu on processor-1").decision(),
            proto::LINK_DECISION_DOUBTFUL);
  EXPECT_NE(processor.sufficiency(), proto::SUFFICIENCY_NOT_ENOUGH);
}

TEST(LoadBudgetTest, ASocketTheUnitLacksIsSaid) {
  std::string unit = unit_text();
  unit.replace(unit.find(", \"graphics-2\""), 14, "");
  const proto::LoadBudget budget = budget_of(unit, std::string(kPc));
  EXPECT_EQ(budget.sufficiency(), proto::SUFFICIENCY_NOT_ENOUGH);
  EXPECT_THAT(budget.lacking(), testing::ElementsAre("graphics-2"));
  EXPECT_THAT(budget.answer(), HasSubstr("It has no socket graphics-2."));
}

TEST(LoadBudgetTest, WhatIsNotPrintedMakesEnoughDoubtful) {
  const auto sufficiency = [](const std::string& unit) { return budget_of(unit, std::string(kPc)).sufficiency(); };
  EXPECT_EQ(sufficiency(unit_text("TOTAL_BASIS_CONTINUOUS", "TOTAL_BASIS_PEAK")), proto::SUFFICIENCY_DOUBTFUL);
  EXPECT_EQ(sufficiency(std::string(kSound)), proto::SUFFICIENCY_DOUBTFUL) << "no sockets described";
  std::string without = unit_text("combined { rails: [RAIL_P5V, RAIL_P3V3] watts: 120 }", "");
  without.replace(without.find("rails { rail: RAIL_P5V amps: 20 }"), 33, "");
  EXPECT_EQ(sufficiency(without), proto::SUFFICIENCY_DOUBTFUL);
  EXPECT_EQ(sufficiency(unit_text("amps: 60", "amps: 70")), proto::SUFFICIENCY_DOUBTFUL)
      << "its label contradicts itself";
  const proto::LoadBudget blind = load_budget(unit_of(unit_text()), system_of(kPc), rules(), plugs(), nullptr);
  EXPECT_EQ(blind.sufficiency(), proto::SUFFICIENCY_DOUBTFUL) << "no edition says what an excursion may be";
}

// The longest of the greatest: 2 x 2 A of a disk that starts are there in every shorter excursion too.
TEST(LoadBudgetTest, AnExcursionIsToldByItsLength) {
  const std::string disk =
      "parts { name: \"disk\" kind: PART_KIND_DRIVE count: 2 draws { rail: RAIL_P12V amps: 0.5 excursions { "
      "duration_s: 3 "
      "amps: 2 } inlets { plug: \"main\" } } }";
  const proto::LoadBudget budget = budget_of(unit_text(), std::string(kPc) + disk);
  const auto& main = find_current(budget, proto::LINK_KIND_PLUG_AMPS, "+12V of main");
  EXPECT_NEAR(main.steady_a(), 3.5, 1e-9);
  EXPECT_NEAR(main.excursion_a(), 9, 1e-9) << "5 A of the card for 1 ms and 4 A of the disks";
  EXPECT_EQ(main.excursion_s(), 1e-3);
  EXPECT_NEAR(find_link(budget, proto::LINK_KIND_CIRCUIT, "+12V of main", false).demand(), (2.5 + 4) / 2, 1e-9)
      << "for 3 s";
  const std::string alone = pc_but("excursions { duration_s: 1e-3 percent: 200 }", "") + disk;
  EXPECT_EQ(find_current(budget_of(unit_text(), alone), proto::LINK_KIND_RAIL, "+12V").excursion_s(), 3);
}

// Two plugs on one cable: its three wires carry 22.5 A, 7.5 A each of 8 A (from memory).
TEST(LoadBudgetTest, TwoPlugsOnOneCableShareItsWires) {
  std::string pc(kPc);
  const std::string_view second = "cables { socket: \"graphics-2\" plugs { name: \"card-b\"";
  pc.replace(pc.find(" }\n" + std::string(second)), 3 + second.size(), " plugs { name: \"card-b\"");
  ASSERT_THAT(pc, HasSubstr("PLUG_KIND_GRAPHICS_2X4 } plugs { name: \"card-b\""));
  const proto::LoadBudget budget = budget_of(unit_text(), pc);
  const auto& cable = find_link(budget, proto::LINK_KIND_CIRCUIT, "+12V of the cable from graphics-1");
  EXPECT_NEAR(cable.demand(), 7.5, 1e-9);
  EXPECT_NEAR(cable.margin_percent(), 6.25, 1e-9);
  EXPECT_EQ(cable.decision(), proto::LINK_DECISION_DOUBTFUL);
}

TEST(LoadBudgetTest, FewerWiresThanThePlugHasAreCounted) {
  const std::string unit =
      unit_text() + " cables { connector: \"processor-1\" rail: RAIL_P12V awg: 18 length_m: 0.5 circuits: 2 }";
  const proto::LoadBudget budget = budget_of(unit, std::string(kPc));
  EXPECT_NEAR(find_link(budget, proto::LINK_KIND_CIRCUIT, "+12V of cpu on processor-1").demand(), 6.25, 1e-9);
}

TEST(BudgetTableTest, TellsEachLinkOnceAtItsWorst) {
  const proto::LoadBudget budget = budget_of(unit_text(), std::string(kPc));
  const Table links = links_table(budget);
  std::size_t totals = 0;
  for (const auto& row : links.rows) totals += row[0] == "total" ? 1 : 0;
  EXPECT_EQ(totals, 1U);
  EXPECT_GT(budget.links_size(), static_cast<int>(links.rows.size()));
  EXPECT_THAT(budget_notes(budget), HasSubstr("warning: processor and graphics plugs share a pitch"));
  EXPECT_EQ(budgets_side_by_side(std::vector{budget, budget}).header, (std::vector<std::string>{"", "X-1", "X-1"}));
}

}  // namespace
}  // namespace host::label
