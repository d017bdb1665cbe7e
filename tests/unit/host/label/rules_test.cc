// SPDX-License-Identifier: Apache-2.0
#include "host/label/rules.h"

#include <gmock/gmock.h>

#include "host/data/shipped.h"
#include "tests/unit/host/label/label_fixture.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;
using testing::HasSubstr;

std::string shipped_but(std::string_view piece, std::string_view other) {
  std::string text(data::shipped("label/rules.textproto").value_or(""));
  const auto at = text.find(piece);
  if (at == text.npos) {
    ADD_FAILURE() << "no such piece: " << piece;
    return text;
  }
  return text.replace(at, piece.size(), other);
}

std::string complaint(const std::string& text) {
  const auto read = Rules::from_text(text, "rules.textproto");
  return read ? "accepted" : model::to_string(read.error());
}

TEST(RulesTest, ShippedRulesHoldTogether) {
  EXPECT_EQ(complaint(shipped_but("", "")), "accepted");
}

// Rules of thumb of the trade: common practice, no source. Only a published table may claim another status.
TEST(RulesTest, ThresholdsOfTheTradeAreMarkedAsUnsourced) {
  const std::pair<proto::LabelCheck, double> kPractice[] = {
      {proto::LABEL_CHECK_SHARE_12V_ASK, 75},        {proto::LABEL_CHECK_SHARE_12V_WARN, 60},
      {proto::LABEL_CHECK_SUM_MARGIN, 10},           {proto::LABEL_CHECK_UNUSABLE_OUTPUTS, 3},
      {proto::LABEL_CHECK_STANDBY_BELOW_USUAL, 2.5}, {proto::LABEL_CHECK_STANDBY_MARGINAL, 2},
  };
  for (const auto& [check, threshold] : kPractice) {
    EXPECT_EQ(rules().threshold(check), threshold) << proto::LabelCheck_Name(check);
    EXPECT_EQ(rules().rule(check).status(), "common practice, no source") << proto::LabelCheck_Name(check);
  }
}

TEST(RulesTest, AThresholdOfOnesOwnIsUsedAndPrinted) {
  const auto own = Rules::from_text(shipped_but("threshold: 75", "threshold: 97"), "rules.textproto");
  ASSERT_TRUE(own.has_value());
  const proto::LabelAudit found = audit(unit_of(kSound), *own);
  const proto::LabelRemark* remark = find_remark(found, proto::LABEL_CHECK_SHARE_12V_ASK);
  ASSERT_NE(remark, nullptr);
  EXPECT_THAT(remark->arithmetic(), HasSubstr("below 97 %"));
}

TEST(RulesTest, NamesWhatIsWrongWithItsPlace) {
  EXPECT_THAT(complaint(shipped_but("number: 2\n", "number: 1\n")), HasSubstr("number 1 is used twice"));
  EXPECT_THAT(complaint(shipped_but("LABEL_CHECK_SHARE_12V_WARN", "LABEL_CHECK_SHARE_12V_ASK")),
              testing::AllOf(HasSubstr("LABEL_CHECK_SHARE_12V_ASK has two rules"),
                             HasSubstr("no rule for LABEL_CHECK_SHARE_12V_WARN")));
  EXPECT_THAT(complaint(shipped_but("threshold: 75", "threshold: nan")), HasSubstr("threshold must be a figure"));
  EXPECT_THAT(complaint(shipped_but("threshold: 75", "")),
              testing::ContainsRegex("rules.textproto:[0-9]+:[0-9]+: thr"));
  EXPECT_THAT(complaint(shipped_but("weight: REMARK_WEIGHT_ASK", "")), HasSubstr("weight is missing"));
  EXPECT_THAT(complaint(shipped_but("total_w: 250", "total_w: 0")), HasSubstr("total_w must be above 0"));
  EXPECT_THAT(complaint(shipped_but("amps: 18 }", "amps: 0 }")), HasSubstr("amps of RAIL_P5V are missing"));
  EXPECT_THAT(complaint("rules { number: 1 }"), HasSubstr("check is missing"));
}

}  // namespace
}  // namespace host::label
