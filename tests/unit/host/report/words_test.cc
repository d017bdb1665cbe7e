// SPDX-License-Identifier: Apache-2.0
#include "host/report/words.h"

#include <cmath>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "host/report/answer.h"
#include "host/report/escape.h"
#include "host/report/summary.h"
#include "tests/unit/host/report/result_fixture.h"

namespace host::report {
namespace {

using testing::HasSubstr;
using testing::Not;

TEST(WordsTest, RoundsToTwoDigitsOfTheUncertainty) {
  // JCGM 100 section 7.2.6: usually at most two significant digits, the value rounded to agree.
  EXPECT_EQ(with_uncertainty(10.82848, 0.0117, "V"), "10.828 V ± 0.012 V");
  EXPECT_EQ(with_uncertainty(-11.9, 0.11, "V"), "-11.90 V ± 0.11 V");
  EXPECT_EQ(with_uncertainty(54.3, 12, "A"), "54 A ± 12 A");
  EXPECT_EQ(with_uncertainty(12, 0, "V"), "12.000 V");
  EXPECT_EQ(with_uncertainty(NAN, 0.1, "V"), "none");
}

TEST(WordsTest, SpansOfTimeTakeTheUnitThatReadsBest) {
  EXPECT_EQ(time_span(0), "0 s");
  EXPECT_EQ(time_span(93.75e-6), "94 µs");
  EXPECT_EQ(time_span(0.0040625), "4.06 ms");
  EXPECT_EQ(time_span(0.0125), "12.5 ms");
  EXPECT_EQ(time_span(60), "60.00 s");
  EXPECT_EQ(time_span(3599.9), "1 h 0 min");
  EXPECT_EQ(time_span(28920), "8 h 2 min");
}

TEST(WordsTest, NeverRoundsALossAway) {
  EXPECT_EQ(percent_of(10, 10), "100 %");
  EXPECT_EQ(percent_of(999'999'999, 1'000'000'000), "99.999 %");
  EXPECT_EQ(percent_of(0, 0), "0 %");
}

TEST(WordsTest, CountsWithThousandsApart) {
  EXPECT_EQ(counted(1, "scan"), "1 scan");
  EXPECT_EQ(counted(0, "scan"), "0 scans");
  EXPECT_EQ(counted(1234567, "scan"), "1,234,567 scans");
  EXPECT_EQ(counted(123456, "scan"), "123,456 scans");
  EXPECT_EQ(counted(2, "mains-loss"), "2 mains-losses");
}

TEST(EscapeTest, TakesControlOfTheTerminalFromNobody) {
  EXPECT_EQ(terminal("a\x1b[2Jb\nc\xC2\x9B"
                     "d"),
            "a?[2Jb?c?d");
  EXPECT_EQ(terminal("+12V ± 1"), "+12V ± 1");
}

TEST(AnswerTest, ExitCodesFollowTheVerdicts) {
  HandMadeSession session;
  EXPECT_EQ(exit_code(session.result), 1);
  session.result.mutable_verdicts(1)->set_decision(steadyrail::proto::DECISION_PASS);
  EXPECT_EQ(exit_code(session.result), 4);  // one undecided, one not tested
  for (auto& verdict : *session.result.mutable_verdicts()) verdict.set_decision(steadyrail::proto::DECISION_PASS);
  EXPECT_EQ(exit_code(session.result), 0);
  session.result.clear_verdicts();
  EXPECT_EQ(exit_code(session.result), 4);
}

TEST(AnswerTest, DoesNotCallAnOpenQuestionAPass) {
  HandMadeSession session;
  session.result.mutable_verdicts(1)->set_decision(steadyrail::proto::DECISION_PASS);
  EXPECT_THAT(answer(session.result).headline,
              HasSubstr("Nothing failed under atx-3.0, but 1 of 4 checks could not be"));
}

TEST(SummaryTest, SaysSimulatedAnswerVerdictsEventsAndCoverage) {
  HandMadeSession session;
  const std::string text = text_summary(session.result);
  EXPECT_THAT(text, testing::StartsWith("SIMULATED"));
  EXPECT_THAT(text, HasSubstr("Out of limits"));
  EXPECT_THAT(text, HasSubstr("10.829 V ± 0.012 V"));
  EXPECT_THAT(text, HasSubstr("gap 40.0000 s to 40.0320 s: damaged"));
  session.result.set_simulated(false);
  EXPECT_THAT(text_summary(session.result), Not(HasSubstr("imulated")));
}

TEST(SummaryTest, OrdersFailuresByTheirDistanceFromTheLimitNotByTheirDrop) {
  HandMadeSession session;
  auto& other = *session.result.add_events();
  other = session.result.events(0);
  other.set_event_id(9);
  other.set_extreme_v(10.7);  // lower than 10.8285, from a lower start
  other.set_depth_v(0.1);
  EXPECT_EQ(worst_events(session.result, 1).front()->event_id(), 9U);
}

TEST(SummaryTest, PutsTheWorstEventFirst) {
  const HandMadeSession session;
  const auto events = worst_events(session.result, 10);
  ASSERT_EQ(events.size(), 3U);
  EXPECT_EQ(events[0]->event_id(), 1U);
  EXPECT_EQ(events[2]->kind(), steadyrail::proto::EVENT_KIND_LOAD_STEP);
}

}  // namespace
}  // namespace host::report
