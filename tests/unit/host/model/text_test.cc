// SPDX-License-Identifier: Apache-2.0
#include "host/model/text.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <random>

#include "jig.pb.h"
#include "unit.pb.h"

namespace host::model {
namespace {

using ::testing::HasSubstr;

std::string complaint(std::string_view text) {
  steadyrail::proto::Unit unit;
  const auto parsed = parse_text(text, "u.textproto", unit);
  return parsed ? "accepted" : to_string(parsed.error());
}

TEST(TextTest, PlacesSyntaxErrorsFromLineAndColumnOne) {
  EXPECT_THAT(complaint("?"), HasSubstr("u.textproto:1:1: "));
  EXPECT_THAT(complaint("id: \"U-9\"\n  total_w: twelve\n"), HasSubstr("u.textproto:2:12: "));
}

TEST(TextTest, NamesUnknownFieldsAndUnknownWords) {
  EXPECT_THAT(complaint("id: \"U-9\"\nwatts: 690\n"), HasSubstr("u.textproto:2:6: "));
  EXPECT_THAT(complaint("watts: 690"), HasSubstr("watts"));
  EXPECT_THAT(complaint("rails { rail: RAIL_P13V }"), HasSubstr("RAIL_P13V"));
}

TEST(TextTest, RefusesAFieldWrittenTwice) {
  EXPECT_THAT(complaint("total_w: 690\ntotal_w: 570\n"), HasSubstr(":2:"));
}

TEST(TextTest, TakesCommentsAndAnEmptyText) {
  EXPECT_EQ(complaint("# a comment\nid: \"U-9\"  # and one behind\n"), "accepted");
  EXPECT_EQ(complaint(""), "accepted");
}

TEST(TextTest, AnswersNoiseWithABoundedListOfErrors) {
  std::mt19937_64 random(7);
  for (int round = 0; round < 50; ++round) {
    std::string noise(20000, '\0');
    for (char& byte : noise) byte = static_cast<char>(random());
    steadyrail::proto::JigDescription jig;
    const auto parsed = parse_text(noise, "noise", jig);
    ASSERT_FALSE(parsed.has_value());
    EXPECT_LE(parsed.error().size(), 50u);
  }
}

TEST(TextTest, PlacesComplaintsAtNestedFields) {
  steadyrail::proto::Unit unit;
  google::protobuf::TextFormat::ParseInfoTree tree;
  ASSERT_TRUE(
      parse_text("id: \"U-9\"\nrails { rail: RAIL_P5V }\nrails {\n  amps: 27 }\n", "u", unit, &tree).has_value());
  const Place place("u", *unit.GetDescriptor(), &tree);
  EXPECT_EQ(place.error("id", "x").to_string(), "u:1:1: x");
  EXPECT_EQ(place.nested("rails", 1).error("amps", "x").to_string(), "u:4:3: x");
  // A field that is not written is complained about at its message.
  EXPECT_EQ(place.nested("rails", 0).error("amps", "x").to_string(), "u:2:1: x");
}

TEST(TextTest, ReadFileNamesTheFileThatIsNotThere) {
  const auto missing = read_file("/nonexistent/j.textproto");
  ASSERT_FALSE(missing.has_value());
  EXPECT_EQ(to_string(missing.error()), "/nonexistent/j.textproto: No such file or directory");
  const auto folder = read_file("/");
  ASSERT_FALSE(folder.has_value());
  EXPECT_EQ(to_string(folder.error()), "/: is a folder, not a file");
}

TEST(TextTest, ReadFileGivesEveryByte) {
  const std::string path = testing::TempDir() + "/text_test.bin";
  const std::string content("a\0b\r\n\xff", 6);
  std::ofstream(path, std::ios::binary).write(content.data(), static_cast<std::streamsize>(content.size()));
  const auto read = read_file(path);
  std::filesystem::remove(path);
  ASSERT_TRUE(read.has_value());
  EXPECT_EQ(*read, content);
}

TEST(TextTest, ReadFileRefusesWhatIsTooLongToBeADescription) {
  const auto endless = read_file("/dev/zero");
  ASSERT_FALSE(endless.has_value());
  EXPECT_THAT(to_string(endless.error()), HasSubstr("more than 16 MiB"));
}

}  // namespace
}  // namespace host::model
