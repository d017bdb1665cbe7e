// SPDX-License-Identifier: Apache-2.0
#include "host/label/label_text.h"

#include <gmock/gmock.h>

#include "host/label/date.h"
#include "tests/unit/host/label/label_fixture.h"

namespace host::label {
namespace {

using testing::HasSubstr;

std::string complaint(std::string_view text) {
  const auto unit = unit_from_text(text, "unit.textproto", rules());
  return unit ? "accepted" : model::to_string(unit.error());
}

TEST(ReadUnitTest, AcceptsASoundLabel) {
  EXPECT_EQ(complaint(kSound), "accepted");
}

TEST(ReadUnitTest, NamesEveryMissingValue) {
  EXPECT_THAT(complaint(""), HasSubstr("total is missing"));
  EXPECT_THAT(complaint("total_w: 570"), HasSubstr("+12V is missing"));
  EXPECT_THAT(complaint(sound_but("RAIL_P5V amps: 20", "RAIL_P5V")),
              HasSubstr("unit.textproto:5:1: +5V amps is missing"));
  EXPECT_THAT(complaint(sound_but("watts: 120", "")), HasSubstr("watts of a combined limit is missing"));
  EXPECT_THAT(complaint(sound_but("rail: RAIL_P5VSB", "")), HasSubstr("rail is missing or unknown"));
  EXPECT_THAT(complaint(sound_but("volts_min: 100", "")), HasSubstr("input voltage is missing"));
}

struct Absurd {
  std::string_view piece;
  std::string_view other;
  std::string_view complaint;
};

class AbsurdValueTest : public testing::TestWithParam<Absurd> {};

TEST_P(AbsurdValueTest, IsRefusedByName) {
  EXPECT_THAT(complaint(sound_but(GetParam().piece, GetParam().other)), HasSubstr(std::string(GetParam().complaint)));
}

INSTANTIATE_TEST_SUITE_P(
    Values, AbsurdValueTest,
    testing::Values(Absurd{"P12V amps: 60", "P12V amps: 0", "unit.textproto:4:25: +12V amps of 0 A is not credible"},
                    Absurd{"P12V amps: 60", "P12V amps: -60", "+12V amps of -60 A is not credible"},
                    Absurd{"P12V amps: 60", "P12V amps: nan", "+12V amps is not a figure"},
                    Absurd{"P12V amps: 60", "P12V amps: inf", "+12V amps is not a figure"},
                    Absurd{"P12V amps: 60", "P12V amps: 6000", "+12V amps of 6000 A is not credible: 0.01 to 1000 A"},
                    Absurd{"P12V amps: 60", "P12V amps: 1e308", "+12V amps of"},
                    Absurd{"P12V amps: 60", "P12V amps: 23,5", "(a decimal comma? write a point: 23.5)"},
                    Absurd{"P12V amps: 60", "P12V amps: \"60\"", "unit.textproto:4:31:"},
                    Absurd{"total_w: 750", "total_w: 750000", "total of 750000 W is not credible"},
                    Absurd{"total_w: 750", "total_w: nan", "total is not a figure"},
                    Absurd{"watts: 120", "watts: -1", "watts of a combined limit of -1 W is not credible"},
                    Absurd{"RAIL_P5V amps", "RAIL_P12V amps", "unit.textproto:5:9: +12V is given twice"},
                    Absurd{"RAIL_P5V amps", "RAIL_P9V amps", "RAIL_P9V"},
                    Absurd{"[RAIL_P5V, RAIL_P3V3]", "RAIL_P5V", "a combined limit needs two rails or more"},
                    Absurd{"[RAIL_P5V, RAIL_P3V3]", "[RAIL_P5V, RAIL_P5V]", "a combined limit names +5V twice"},
                    Absurd{"[RAIL_P5V, RAIL_P3V3]", "[RAIL_P5V, 99]", "a combined limit names an unknown rail"},
                    Absurd{"rails { rail: RAIL_M12V amps: 0.5 }", "combined { rails: [RAIL_P5V, RAIL_M12V] watts: 90 }",
                           "a combined limit names -12V, which has no amps"},
                    Absurd{"volts_max: 240", "volts_max: 90", "the highest input voltage is below the lowest"},
                    Absurd{"mass_kg: 1.9", "mass_kg: 1900", "mass of 1900 kg is not credible"},
                    Absurd{"wire_awg: 16", "wire_awg: 0", "wire of 0 AWG is not credible"},
                    Absurd{"total_at_c: 40", "total_at_c: 400", "temperature of the total of 400 C is not credible"},
                    Absurd{"2024-05", "2024-13", "date \"2024-13\" is none"},
                    Absurd{"MARK_PRESENT", "MARK_ABSENT efficiency_text: \"some\"",
                           "an absent efficiency mark has no words"},
                    Absurd{"MARK_PRESENT", "MARK_GOLDEN", "MARK_GOLDEN"},
                    Absurd{"X-1", "X\\033[2J", "id holds a control character"},
                    Absurd{"id: \"X-1\"", "colour: \"red\"", "colour"}));

std::string with_map(std::string_view sockets, std::string_view map) {
  return sound_but("RAIL_P12V amps: 60",
                   "RAIL_P12V amps: 60 sub_rails { name: \"12V1\" amps: 60 connectors: [" + std::string(map) + "] }") +
         "sockets: [" + std::string(sockets) + "]";
}

TEST(SubRailMapTest, MayNameOnlySocketsOfTheUnit) {
  EXPECT_EQ(complaint(with_map("\"main\", \"graphics-1\"", "\"graphics-1\"")), "accepted");
  EXPECT_THAT(complaint(with_map("\"main\", \"graphics-1\"", "\"graphics-2\"")),
              HasSubstr("socket \"graphics-2\" is not among the unit's sockets: main, graphics-1"));
  EXPECT_THAT(complaint(with_map("\"main\"", "\"main\", \"main\"")), HasSubstr("socket \"main\" is mapped twice"));
  EXPECT_THAT(complaint(with_map("\"main\", \"main\"", "\"main\"")), HasSubstr("socket \"main\" is given twice"));
}

TEST(SubRailMapTest, UsesOurWordsEvenWhenTheUnitListsNoSockets) {
  EXPECT_EQ(complaint(with_map("", "\"processor-2\", \"drive\"")), "accepted");
  for (const std::string_view word : {"\"toaster\"", "\"main-0\"", "\"main-\"", "\"main-123\"", "\"mainly\"", "\"\""}) {
    EXPECT_THAT(complaint(with_map("", word)), HasSubstr("is unknown; names: main, processor")) << word;
  }
}

TEST(SubRailMapTest, RefusesTwoSubRailsOfOneName) {
  EXPECT_THAT(complaint(sound_but("RAIL_P12V amps: 60",
                                  "RAIL_P12V sub_rails { name: \"a\" amps: 40 } sub_rails { name: \"a\" amps: 30 }")),
              HasSubstr("sub-rail a is given twice"));
  EXPECT_THAT(complaint(sound_but("RAIL_P12V amps: 60", "RAIL_P12V sub_rails { amps: 40 } sub_rails { name: \"b\" }")),
              testing::AllOf(HasSubstr("a sub-rail of +12V has no name"), HasSubstr("+12V b amps is missing")));
}

TEST(ReadUnitTest, NoiseIsRefusedNotRead) {
  std::string noise;
  for (int at = 0; at < 4096; ++at) noise += static_cast<char>((at * 131 + 7) % 251);
  EXPECT_NE(complaint(noise), "accepted");
  EXPECT_NE(complaint(std::string_view("\0\0\0", 3)), "accepted");
}

// Every prefix of a sound file either reads or is refused; none may crash or hang.
TEST(ReadUnitTest, CutAnywhereNeverCrashes) {
  for (std::size_t bytes = 0; bytes < kSound.size(); ++bytes) {
    const std::string answer = complaint(kSound.substr(0, bytes));
    EXPECT_FALSE(answer.empty());
  }
}

// Long years by ISO 8601: 2020 and 2026 have week 53, 2024 and 2025 do not (calendar, by hand).
TEST(DateTest, AcceptsWhatExistsOnly) {
  for (const char* date : {"2024", "2024-05", "2024-02-29", "2025-W09", "2020-W53", "2026-W53"}) {
    EXPECT_TRUE(is_date(date)) << date;
  }
  for (const char* date : {"", "24", "2024-", "2024-00", "2024-1", "2023-02-29", "2024-05-", "2024-05-1", "2024-W54",
                           "2024-W53", "2025-W53", "2024-W00", "2024-W", "1901", "2024x", "2024-05-17x", "May 2024"}) {
    EXPECT_FALSE(is_date(date)) << date;
  }
}

}  // namespace
}  // namespace host::label
