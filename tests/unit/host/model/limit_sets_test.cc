// SPDX-License-Identifier: Apache-2.0
#include "host/model/limit_sets.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "host/model/named_text.h"

namespace host::model {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;

constexpr std::string_view kSound = R"(edition: "own-1" title: "Own limits" document: "Order 12"
required { scans_share: 0.999 settled_mean_s: 60 steps_each_way: 30 }
regulation {
  rail: RAIL_P12V output: "+12V" least_uv: 11400000 nominal_uv: 12000000 most_uv: 12600000
  table: "Table 1" source: "order 12" status: LIMIT_STATUS_READ }
excursion { duration_s: 1e-3 percent_small: 145 percent_large: 180 source: "order 12" status: LIMIT_STATUS_READ }
excursion { duration_s: inf percent_small: 100 percent_large: 100 source: "order 12" status: LIMIT_STATUS_READ }
)";

std::string with(std::string_view from, std::string_view to) {
  std::string text(kSound);
  const auto at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return text.replace(at, from.size(), to);
}

// Every complaint about a text, one a line.
std::string complaints(const std::string& text) {
  const auto limits = limits_from_text(text, "own.textproto");
  return limits ? "accepted" : to_string(limits.error());
}

TEST(LimitSetsTest, AcceptsASoundEdition) {
  EXPECT_EQ(complaints(std::string(kSound)), "accepted");
}

TEST(LimitSetsTest, RefusesLeastNotBelowMost) {
  EXPECT_THAT(complaints(with("least_uv: 11400000", "least_uv: 12700000")),
              HasSubstr("own.textproto:4:34: least 12700000 uV is not below most 12600000 uV"));
}

TEST(LimitSetsTest, RefusesMillivoltsAndOtherRails) {
  EXPECT_THAT(complaints(with("least_uv: 11400000", "least_uv: 11400")),
              HasSubstr("own.textproto:4:34: least_uv 11400 uV is no value of +12V"));
  EXPECT_THAT(complaints(with("RAIL_P12V", "RAIL_M12V")), HasSubstr("is no value of -12V"));
}

TEST(LimitSetsTest, RefusesALimitWithoutOrigin) {
  EXPECT_THAT(complaints(with(" status: LIMIT_STATUS_READ }\nexcursion { duration_s: 1e-3",
                              " }\nexcursion { duration_s: 1e-3")),
              HasSubstr("own.textproto:3:1: a limit does not say whether it was read"));
  EXPECT_THAT(complaints(with("table: \"Table 1\" ", "")), HasSubstr("3:1: a limit names no table"));
  EXPECT_THAT(complaints(with("source: \"order 12\" status: LIMIT_STATUS_READ }\nexcursion",
                              "status: LIMIT_STATUS_READ }\nexcursion")),
              HasSubstr("3:1: a limit names no source"));
}

TEST(LimitSetsTest, RefusesTwoLimitsForOneConnector) {
  const std::string row =
      std::string(kSound.substr(kSound.find("regulation"), kSound.find("excursion") - kSound.find("regulation")));
  EXPECT_THAT(complaints(std::string(kSound) + row),
              HasSubstr("own.textproto:9:3: +12V has two limits for every connector"));
  std::string named = row;
  named.insert(named.find("table"), "connectors: \"main\" ");
  EXPECT_EQ(complaints(std::string(kSound) + named), "accepted");
  EXPECT_THAT(complaints(std::string(kSound) + named + named), HasSubstr("+12V has two limits at main"));
}

TEST(LimitSetsTest, RefusesCoverageThatDemandsNothing) {
  EXPECT_THAT(complaints(with("scans_share: 0.999", "scans_share: 99.9")), HasSubstr("2:12: scans_share 99.9"));
  EXPECT_THAT(complaints(with("scans_share: 0.999", "scans_share: 0")), HasSubstr("2:12: scans_share 0"));
  EXPECT_THAT(complaints(with("settled_mean_s: 60", "settled_mean_s: 0")), HasSubstr("settled_mean_s must be above 0"));
  EXPECT_THAT(complaints(with("required { scans_share: 0.999 settled_mean_s: 60 steps_each_way: 30 }", "")),
              HasSubstr("does not say what coverage"));
}

TEST(LimitSetsTest, RefusesAnExcursionThatGrowsWithItsDuration) {
  EXPECT_THAT(complaints(with("duration_s: inf percent_small: 100", "duration_s: inf percent_small: 150")),
              HasSubstr("may not grow"));
  EXPECT_THAT(complaints(with("duration_s: inf", "duration_s: 1e-4")), HasSubstr("7:13: durations must rise"));
  EXPECT_THAT(complaints(with("percent_large: 180", "percent_large: 1.8")), HasSubstr("percent_large is not between"));
}

TEST(LimitSetsTest, RefusesRippleThatIsNoneOrTwice) {
  const std::string row =
      "ripple { rail: RAIL_P12V output: \"+12V\" most_uv: 120000 table: \"Table 2\" source: \"order 12\" "
      "status: LIMIT_STATUS_READ }\n";
  EXPECT_EQ(complaints(std::string(kSound) + row), "accepted");
  EXPECT_THAT(complaints(std::string(kSound) + row + row), HasSubstr("+12V has two ripple limits"));
  const auto changed = [&](std::string_view from, std::string_view to) {
    std::string text = row;
    return complaints(std::string(kSound) + text.replace(text.find(from), from.size(), to));
  };
  EXPECT_THAT(changed("120000", "120000000"), HasSubstr("is no ripple"));
  EXPECT_THAT(changed("120000", "0"), HasSubstr("is no ripple"));
  EXPECT_THAT(changed(" status: LIMIT_STATUS_READ", ""), HasSubstr("does not say whether it was read"));
}

TEST(LimitSetsTest, LoadsWhatShipsByName) {
  EXPECT_THAT(shipped_descriptions("limits"),
              ElementsAre("atx-3.0", "atx-3.1", "atx12v-2.0", "atx12v-2.0-peak", "pcie-5.0-card"));
  for (const std::string& name : shipped_descriptions("limits")) {
    const auto edition = load_limits(name);
    ASSERT_TRUE(edition.has_value()) << to_string(edition.error());
    EXPECT_EQ(edition->set.edition(), name);
    EXPECT_FALSE(edition->text.empty());
  }
}

TEST(LimitSetsTest, LoadsAFileByPath) {
  const std::string path = testing::TempDir() + "/limit_sets_test.textproto";
  std::ofstream(path) << kSound;
  const auto edition = load_limits(path);
  std::filesystem::remove(path);
  ASSERT_TRUE(edition.has_value()) << to_string(edition.error());
  EXPECT_EQ(edition->set.edition(), "own-1");
  EXPECT_EQ(edition->file, path);
}

TEST(LimitSetsTest, NamesWhatThereIsWhenTheNameIsWrong) {
  const auto edition = load_limits("atx-2.0");
  ASSERT_FALSE(edition.has_value());
  EXPECT_THAT(to_string(edition.error()),
              HasSubstr("atx-2.0: no such name in limits; there are: atx-3.0, atx-3.1, atx12v-2.0"));
  const auto path = load_limits("./not-there.textproto");
  ASSERT_FALSE(path.has_value());
  EXPECT_THAT(to_string(path.error()), HasSubstr("./not-there.textproto: No such file"));
}

}  // namespace
}  // namespace host::model
