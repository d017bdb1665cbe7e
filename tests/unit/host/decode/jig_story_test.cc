// SPDX-License-Identifier: Apache-2.0
#include "host/decode/jig_story.h"

#include <gtest/gtest.h>

#include <set>

namespace host::decode {
namespace {

namespace proto = steadyrail::proto;
using Words = std::vector<std::string>;

proto::Status status(std::uint64_t scan, proto::SafetyCause cause) {
  proto::Status status;
  status.set_scan(scan);
  status.set_safety_cause(cause);
  return status;
}

TEST(JigStoryTest, SaysNothingOfAnUneventfulSession) {
  JigStory story;
  proto::Status quiet = status(32'000, proto::SAFETY_CAUSE_NONE);
  quiet.set_reset_cause(proto::RESET_CAUSE_POWER_ON);
  story.take(quiet, 32'000);
  proto::Event event;
  event.mutable_edge()->set_line(proto::LINE_GATE);
  story.take(event);
  EXPECT_EQ(story.remarks(), Words{});
}

TEST(JigStoryTest, TellsASafetyCauseOnceWithItsPlaceAndTime) {
  JigStory story;
  proto::Status stuck = status(48'000, proto::SAFETY_CAUSE_LOAD_STUCK_ON);
  stuck.set_mode(proto::JIG_MODE_BENCH);
  stuck.set_safety_detail(0);
  story.take(status(32'000, proto::SAFETY_CAUSE_NONE), 32'000);
  story.take(stuck, 32'000);
  stuck.set_scan(80'000);
  story.take(stuck, 32'000);
  EXPECT_EQ(story.remarks(),
            (Words{"safety cause at 1.500 s: load gate 0 is off and its branch still draws current: a switch failed "
                   "short; switch the supply off at the outlet; load gates are off and PS_ON# is released"}));
}

TEST(JigStoryTest, TellsACauseAgainAfterItWasLetGo) {
  JigStory story;
  for (const auto cause : {proto::SAFETY_CAUSE_STACK, proto::SAFETY_CAUSE_NONE, proto::SAFETY_CAUSE_STACK}) {
    story.take(status(1, cause), 32'000);
  }
  EXPECT_EQ(story.remarks().size(), 2U);
}

TEST(JigStoryTest, TellsHowABootBeganWhereThatIsNews) {
  JigStory story;
  proto::Status said = status(16'000, proto::SAFETY_CAUSE_NONE);
  said.set_reset_cause(proto::RESET_CAUSE_PIN);
  story.take(said, 32'000);
  story.restarted();
  said.set_reset_cause(proto::RESET_CAUSE_WATCHDOG);
  story.take(said, 32'000);
  story.take(said, 32'000);
  EXPECT_EQ(story.remarks(),
            Words{"the jig began anew before 0.500 s: its watchdog reset it: the program had stopped"});
}

TEST(JigStoryTest, HasWordsOfItsOwnForEveryCauseOfTheSchema) {
  std::set<std::string> all;
  const auto* causes = proto::SafetyCause_descriptor();
  for (int k = 0; k < causes->value_count(); ++k) {
    const auto cause = static_cast<proto::SafetyCause>(causes->value(k)->number());
    const std::string words = safety_words(status(0, cause));
    EXPECT_EQ(words.find("does not know"), std::string::npos) << causes->value(k)->name();
    EXPECT_EQ(words.empty(), cause == proto::SAFETY_CAUSE_NONE) << causes->value(k)->name();
    EXPECT_TRUE(all.insert(words).second) << words;
  }
  EXPECT_NE(safety_words(status(0, static_cast<proto::SafetyCause>(99))).find("99"), std::string::npos);
  EXPECT_NE(reset_words(99).find("99"), std::string::npos);
}

TEST(JigStoryTest, AddsUpUntoldEdgesAndRamps) {
  JigStory story;
  proto::Event event;
  event.mutable_edge()->set_untold(7);
  story.take(event);
  story.take(event);
  proto::RampBlock ramp;
  ramp.set_ramp(1);
  ramp.set_points_left(32);
  story.take(ramp);
  ramp.set_points_left(0);
  story.take(ramp);
  story.restarted();
  ramp.set_points_left(96);
  story.take(ramp);  // the first of another boot
  EXPECT_EQ(story.remarks(),
            (Words{"14 edges of load gates were not told one by one: the load programme says where they lie",
                   "2 ramps of a start are in the recording, 1 of them cut short; nothing is judged by them"}));
}

}  // namespace
}  // namespace host::decode
