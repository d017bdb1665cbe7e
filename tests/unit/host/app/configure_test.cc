// SPDX-License-Identifier: Apache-2.0
#include "host/app/configure.h"

#include <gtest/gtest.h>

#include "host/app/judging.h"

namespace host::app {
namespace {

TEST(ConfigureTest, TakesWindowsAsShortAsTheLineCarries) {
  // 24 channels x 1,000 windows/s x 4.4 B = 105.6 kB/s, against 60 % of 200 kB/s (2 Mbaud), of 92 kB/s, of 11.5 kB/s.
  const auto jig = load_jig("reference");
  ASSERT_TRUE(jig.has_value());
  EXPECT_EQ(configuration(*jig, 2'000'000).scans_per_window(), 32U);
  EXPECT_EQ(configuration(*jig, 3'000'000).scans_per_window(), 32U);
  EXPECT_EQ(configuration(*jig, 921'600).scans_per_window(), 64U);
  EXPECT_EQ(configuration(*jig, 115'200).scans_per_window(), 256U);
}

TEST(ConfigureTest, TriggersOnStepsOfEveryCurrentChannel) {
  const auto jig = load_jig("reference");
  ASSERT_TRUE(jig.has_value());
  const auto configured = configuration(*jig, 2'000'000);
  EXPECT_EQ(configured.step_triggers_size(), 7);  // processor, main +12, +5, +3.3, graphics 1 to 3
  for (const auto& trigger : configured.step_triggers()) EXPECT_GT(trigger.least_code(), 0U);
}

TEST(JudgingTest, HasNoDefaultEdition) {
  const auto judging = load_judging({}, std::nullopt, "");
  ASSERT_TRUE(judging.has_value());
  EXPECT_FALSE(judging->limits.has_value());
}

TEST(JudgingTest, TakesTheEditionNamedOverTheRecordedOverTheUnits) {
  steadyrail::proto::Unit unit;
  unit.set_edition("atx12v-2.0");
  EXPECT_EQ(load_judging({}, unit, "")->limits->set.edition(), "atx12v-2.0");
  EXPECT_EQ(load_judging({}, unit, "atx-3.0")->limits->set.edition(), "atx-3.0");
  EXPECT_EQ(load_judging({.limits = "atx12v-2.0-peak", .unit = ""}, unit, "atx-3.0")->limits->set.edition(),
            "atx12v-2.0-peak");
}

TEST(JudgingTest, TakesTheEditionOfAUnitNamedNowOverTheRecordedOne) {
  EXPECT_EQ(load_judging({.limits = "", .unit = "u-2"}, std::nullopt, "atx-3.0")->limits->set.edition(), "atx12v-2.0");
}

TEST(JudgingTest, SaysWhatIsDoubtfulOfLabelAndLimits) {
  const auto jig = load_jig("small");
  ASSERT_TRUE(jig.has_value());
  auto judging = load_judging({.limits = "atx-3.0", .unit = "u-1"}, std::nullopt, "");
  ASSERT_TRUE(judging.has_value());
  EXPECT_TRUE(doubts(*judging, jig->description()).empty());
  for (auto& limit : *judging->limits->set.mutable_regulation()) limit.add_connectors("nowhere");
  EXPECT_EQ(doubts(*judging, jig->description()).size(), 5U);
  EXPECT_NE(doubts(*judging, jig->description())[0].find("nowhere only"), std::string::npos);
  judging = load_judging({.limits = "atx-3.0", .unit = "u-3"}, std::nullopt, "");  // +12 V alone exceeds the total
  ASSERT_TRUE(judging.has_value());
  const auto of_label = doubts(*judging, jig->description());
  ASSERT_EQ(of_label.size(), 1U);
  EXPECT_NE(of_label[0].find("the label of U-3 contradicts itself"), std::string::npos);
}

TEST(JudgingTest, SuggestsTheNearestEdition) {
  EXPECT_NE(load_edition("atx-3.O").error().find("Did you mean 'atx-3.0'?"), std::string::npos);
}

}  // namespace
}  // namespace host::app
