// SPDX-License-Identifier: Apache-2.0
// The texts and units that ship are there and readable.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <sstream>

#include "host/data/shipped.h"
#include "host/model/named_text.h"
#include "unit.pb.h"

namespace {

using ::testing::HasSubstr;

TEST(ShippedTextsTest, AnUnknownNameIsNothing) {
  EXPECT_FALSE(host::data::shipped("texts/no-such.txt").has_value());
  EXPECT_TRUE(host::data::shipped_names("no-such/").empty());
}

TEST(ShippedTextsTest, CautionNamesEveryHarm) {
  const auto caution = host::data::shipped("texts/caution.txt");
  ASSERT_TRUE(caution.has_value());
  for (const char* harm :
       {"Local electrical codes, licensed practice", "Never open a power supply", "primary capacitors",
        "residual-current", "earth connected, not by pulling the plug", "Earth: never lift it", "hundreds of amperes",
        "Loads get hot", "opposite polarity", "Modular cables", "12-way graphics connector"}) {
    EXPECT_THAT(std::string(*caution), HasSubstr(harm));
  }
}

TEST(ShippedTextsTest, CautionFitsATerminal) {
  std::istringstream lines{std::string(*host::data::shipped("texts/caution.txt"))};
  std::size_t count = 0;
  for (std::string line; std::getline(lines, line); ++count) EXPECT_LE(line.size(), 100u) << line;
  EXPECT_GE(count, 12u);
  EXPECT_LE(count, 16u);
}

TEST(ShippedUnitsTest, AreReadable) {
  const auto names = host::model::shipped_descriptions("units");
  ASSERT_EQ(names, (std::vector<std::string>{"u-1", "u-2", "u-3"}));
  for (const std::string& name : names) {
    const auto text = host::model::named_text("units", name);
    ASSERT_TRUE(text.has_value());
    steadyrail::proto::Unit unit;
    const auto parsed = host::model::parse_text(text->text, text->file, unit);
    EXPECT_TRUE(parsed.has_value()) << host::model::to_string(parsed.error());
    EXPECT_GT(unit.total_w(), 0);
  }
}

// Longer than one piece of the generated source: no byte may be lost where two pieces meet.
TEST(ShippedTextsTest, LongFilesSurviveTheirEmbedding) {
  const auto jig = host::model::read_file(STEADYRAIL_SOURCE_DIR "/host/data/jigs/reference.textproto");
  ASSERT_TRUE(jig.has_value());
  ASSERT_GT(jig->size(), 12000u);
  EXPECT_EQ(*jig, *host::data::shipped("jigs/reference.textproto"));
}

}  // namespace
