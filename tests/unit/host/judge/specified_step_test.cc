// SPDX-License-Identifier: Apache-2.0
// The step an edition wants an output to bear, worked by hand from the label's amps and the edition's percent.
#include "host/judge/specified_step.h"

#include <gtest/gtest.h>

#include "host/data/shipped.h"
#include "host/model/limit_sets.h"
#include "host/model/text.h"

namespace host::judge {
namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

const model::Jig& jig() {
  static const model::Jig made = *model::Jig::from_text(data::shipped("jigs/reference.textproto").value(), "reference");
  return made;
}

std::size_t current_of(std::string_view connector, Rail rail) {
  for (const auto& channel : jig().channels()) {
    if (channel.kind == CHANNEL_KIND_CURRENT && channel.connector == connector && channel.rail == rail) {
      return channel.index;
    }
  }
  ADD_FAILURE() << connector;
  return 0;
}

LimitSet edition(const std::string& name) {
  return model::load_limits(name)->set;
}

Unit unit(const std::string& text) {
  Unit made;
  EXPECT_TRUE(model::parse_text(text, "unit", made).has_value());
  return made;
}

// Worked example beside Table 11 of the ATX12V design guide 2.0: +5 V rated 14 A, 30 %: a step of 4.2 A.
TEST(SpecifiedStepTest, FollowsTheGuidesOwnExample) {
  const Unit label = unit("rails { rail: RAIL_P5V amps: 14 }");
  const LimitSet limits = edition("atx12v-2.0");
  const SpecifiedSteps steps(jig(), &label, &limits);
  const std::size_t five = current_of("main", RAIL_P5V);
  ASSERT_TRUE(steps.at(five).has_value());
  EXPECT_DOUBLE_EQ(steps.at(five)->step_a, 4.2);
  EXPECT_DOUBLE_EQ(*steps.at(five)->slew_a_per_s, 1e6);
  EXPECT_EQ(steps.judge(five, 4.1, 0.05), WITHIN_STEP_YES);
  EXPECT_EQ(steps.judge(five, -4.1, 0.05), WITHIN_STEP_YES);
  EXPECT_EQ(steps.judge(five, 4.2, 0.05), WITHIN_STEP_UNKNOWN);
  EXPECT_EQ(steps.judge(five, 4.3, 0.05), WITHIN_STEP_NO);
  EXPECT_EQ(steps.judge(five, -4.3, 0.05), WITHIN_STEP_NO);
  EXPECT_EQ(steps.judge_slew(five, 0.9e6, false), WITHIN_STEP_YES);
  EXPECT_EQ(steps.judge_slew(five, 0.9e6, true), WITHIN_STEP_UNKNOWN);
  EXPECT_EQ(steps.judge_slew(five, 1.1e6, true), WITHIN_STEP_NO);
}

// 60 % of the rated current at the processor's plug, 40 % elsewhere; a sub-rail's own amps before its rail's.
TEST(SpecifiedStepTest, TakesTheRowOfTheConnectorAndTheAmpsOfItsSubRail) {
  const Unit label = unit(R"pb(
    rails {
      rail: RAIL_P12V
      amps: 50
      sub_rails {
        name: "12V2"
        amps: 20
        connectors: [ "processor-1", "processor-2" ]
      }
    })pb");
  const LimitSet limits = edition("atx12v-2.0");
  const SpecifiedSteps steps(jig(), &label, &limits);
  const auto& processor = steps.at(current_of("processor-1", RAIL_P12V));
  const auto& graphics_1 = steps.at(current_of("graphics-1", RAIL_P12V));
  const auto& graphics_2 = steps.at(current_of("graphics-2", RAIL_P12V));
  ASSERT_TRUE(processor && graphics_1 && graphics_2);
  EXPECT_DOUBLE_EQ(processor->step_a, 12);
  EXPECT_DOUBLE_EQ(graphics_1->step_a, 20);
  EXPECT_EQ(graphics_1->group, graphics_2->group);
  EXPECT_NE(graphics_1->group, processor->group);
}

// Table 4-3 of 336521: a share of the processor's or the card's own current cannot be worked out from a label.
TEST(SpecifiedStepTest, SaysWhoseShareIsNotKnown) {
  const Unit label = unit("rails { rail: RAIL_P12V amps: 50 } rails { rail: RAIL_P5V amps: 20 } total_w: 690");
  const LimitSet limits = edition("atx-3.0");
  const SpecifiedSteps steps(jig(), &label, &limits);
  EXPECT_FALSE(steps.at(current_of("processor-1", RAIL_P12V)).has_value());
  EXPECT_FALSE(steps.at(current_of("graphics-1", RAIL_P12V)).has_value());
  EXPECT_EQ(steps.judge(current_of("graphics-1", RAIL_P12V), 1000, 0), WITHIN_STEP_UNKNOWN);
  const auto& main = steps.at(current_of("main", RAIL_P12V));
  ASSERT_TRUE(main.has_value());
  EXPECT_DOUBLE_EQ(main->step_a, 20);
  EXPECT_DOUBLE_EQ(*main->slew_a_per_s, 5e6);  // 690 W: the connector that decides is not described, the faster holds
  std::string all;
  for (const std::string& remark : steps.remarks()) all += remark + "\n";
  EXPECT_NE(all.find("share of the processor's current, which is not known"), std::string::npos) << all;
  EXPECT_NE(all.find("the add-in card draws for good, which is not known"), std::string::npos) << all;
  EXPECT_NE(all.find("too fast to be timed"), std::string::npos) << all;
}

TEST(SpecifiedStepTest, KnowsNothingWithoutLabelOrEdition) {
  const LimitSet limits = edition("atx12v-2.0");
  const SpecifiedSteps no_unit(jig(), nullptr, &limits);
  EXPECT_FALSE(no_unit.at(current_of("main", RAIL_P12V)).has_value());
  const Unit label = unit("rails { rail: RAIL_P12V amps: 50 }");
  const SpecifiedSteps no_edition(jig(), &label, nullptr);
  EXPECT_FALSE(no_edition.at(current_of("main", RAIL_P12V)).has_value());
  EXPECT_TRUE(no_edition.remarks().empty());
}

TEST(SpecifiedStepTest, AmpsThatAreNoneSpecifyNothing) {
  const LimitSet limits = edition("atx12v-2.0");
  for (const char* amps : {"nan", "inf", "-5", "0"}) {
    const Unit label = unit(std::string("rails { rail: RAIL_P12V amps: ") + amps + " }");
    const SpecifiedSteps steps(jig(), &label, &limits);
    EXPECT_FALSE(steps.at(current_of("graphics-1", RAIL_P12V)).has_value()) << amps;
  }
}

// Only remembered, a size must not take a verdict away.
TEST(SpecifiedStepTest, RemembersNoSize) {
  const Unit label = unit("rails { rail: RAIL_P12V amps: 50 }");
  LimitSet limits = edition("atx12v-2.0");
  for (auto& row : *limits.mutable_transient()) row.set_status(LIMIT_STATUS_FROM_MEMORY);
  const SpecifiedSteps steps(jig(), &label, &limits);
  EXPECT_FALSE(steps.at(current_of("graphics-1", RAIL_P12V)).has_value());
}

}  // namespace
}  // namespace host::judge
