// SPDX-License-Identifier: Apache-2.0
#include "host/label/table.h"

#include <gmock/gmock.h>

#include "tests/unit/host/label/label_fixture.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;
using testing::HasSubstr;

TEST(SideBySideTest, Puts12VFirstAndMinus12AndStandbyLast) {
  const std::vector<proto::LabelAudit> audits = {audit_of(kSound), audit_of("id: \"X-2\" total_w: 500 rails { rail: "
                                                                            "RAIL_P12V amps: 38.5 }")};
  const Table table = side_by_side(audits);
  EXPECT_EQ(table.header, (std::vector<std::string>{"", "X-1", "X-2"}));
  std::vector<std::string> rails;
  for (const auto& row : table.rows) {
    ASSERT_EQ(row.size(), 3U);
    if (row[0].ends_with("V") || row[0] == "+5VSB") rails.push_back(row[0]);
  }
  EXPECT_EQ(rails, (std::vector<std::string>{"+12V", "+5V", "+3.3V", "-12V", "+5VSB"}));
  const auto standby = std::ranges::find(table.rows, "+5VSB", [](const auto& row) { return row[0]; });
  EXPECT_EQ(*standby, (std::vector<std::string>{"+5VSB", "3 A, 15 W", "-"}));
}

TEST(DetailsTest, SaysThatALabelIsAClaim) {
  EXPECT_THAT(details(audit_of(kSound)), HasSubstr("a label is a claim, not a measurement"));
}

TEST(DetailsTest, ShowsEveryRemarkWithRuleNumberStatusAndArithmetic) {
  const std::string text = details(audit_of(sound_but("RAIL_P12V amps: 60", "RAIL_P12V amps: 64")));
  EXPECT_THAT(text, HasSubstr("X-1: contradicts itself"));
  EXPECT_THAT(text, HasSubstr("CONTRADICTION 12 V x 64 A = 768 W, above the total 750 W by 18 W"));
  EXPECT_THAT(text, HasSubstr("rule 22, contradiction (arithmetic; margin for rounding: common practice, no source): "
                              "one rail alone is above the total"));
}

}  // namespace
}  // namespace host::label
