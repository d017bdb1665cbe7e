// SPDX-License-Identifier: Apache-2.0
// Resistances and ripple in the report, and what a ripple verdict does to the whole.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "host/report/answer.h"
#include "host/report/html_report.h"
#include "tests/unit/host/report/result_fixture.h"

namespace host::report {
namespace {

using testing::HasSubstr;
using testing::Not;

TEST(ResistanceReportTest, TablesHoldEveryFigureAndEveryRefusal) {
  const HandMadeSession session;
  const std::string html = html_report(session.input());
  for (const char* part :
       {"<section id=\"resistance\">", "44.90 mohm", "44.60 to 45.20", "12.070 V", "taken out: current-processor",
        "not enough spread: 1 settled level over 0.2 A", "41.40 mohm", "34.80 mohm", "20.0 W at 24.0 A",
        "more than 10 mohm too much", "+5.00 mV/A", "condition number 1.4", "31.2 mV",
        "the jig lowered this connector by 38.4", "<section id=\"ripple\">", "at least 10.4 mV",
        "2.10 mV at 100 Hz, 18.2 A", "51 times smaller", "nothing here is a pass"}) {
    EXPECT_THAT(html, HasSubstr(part));
  }
}

TEST(ResistanceReportTest, AFlaggedContactIsAmongTheFindings) {
  HandMadeSession session;
  EXPECT_THAT(answer(session.result).found,
              testing::Contains(HasSubstr("34.8 mohm more than its wire and contacts should have; 20.0 W of heat")));
  session.result.mutable_contact_resistances(0)->set_flagged(false);
  EXPECT_THAT(answer(session.result).found, Not(testing::Contains(HasSubstr("mohm more"))));
}

steadyrail::proto::SessionResult one_pass() {
  steadyrail::proto::SessionResult result;
  result.add_verdicts()->set_decision(steadyrail::proto::DECISION_PASS);
  return result;
}

TEST(RippleVerdictTest, NotExcludedIsNoneOfTheRequiredChecks) {
  steadyrail::proto::SessionResult result = one_pass();
  auto* ripple = result.add_verdicts();
  ripple->set_quantity(steadyrail::proto::QUANTITY_RIPPLE);
  ripple->set_reason("not excluded");
  EXPECT_EQ(exit_code(result), 0);
  EXPECT_EQ(tally(result).all(), 1);
  // A ripple row alone is no test passed.
  result.mutable_verdicts()->DeleteSubrange(0, 1);
  EXPECT_EQ(exit_code(result), 4);
}

TEST(RippleVerdictTest, MoreThanTheLimitFailsAndARememberedLimitLeavesItOpen) {
  steadyrail::proto::SessionResult result = one_pass();
  auto* ripple = result.add_verdicts();
  ripple->set_quantity(steadyrail::proto::QUANTITY_RIPPLE);
  ripple->set_decision(steadyrail::proto::DECISION_FAIL);
  EXPECT_EQ(exit_code(result), 1);
  ripple->set_decision(steadyrail::proto::DECISION_UNDECIDED);
  EXPECT_EQ(exit_code(result), 4);
}

}  // namespace
}  // namespace host::report
