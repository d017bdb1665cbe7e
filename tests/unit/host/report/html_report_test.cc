// SPDX-License-Identifier: Apache-2.0
#include "host/report/html_report.h"

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "host/data/shipped.h"
#include "tests/unit/host/report/result_fixture.h"

namespace host::report {
namespace {

using testing::ContainsRegex;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::Not;

std::vector<std::string> section_ids(const std::string& page) {
  std::vector<std::string> ids;
  constexpr std::string_view kMark = "<section id=\"";
  for (std::size_t at = page.find(kMark); at != std::string::npos; at = page.find(kMark, at + 1)) {
    const std::size_t from = at + kMark.size();
    ids.push_back(page.substr(from, page.find('"', from) - from));
  }
  return ids;
}

std::size_t occurrences(const std::string& text, std::string_view what) {
  std::size_t count = 0;
  for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++count;
  return count;
}

TEST(HtmlReportTest, HasItsSectionsInOrderAndLeavesEmptyOnesOut) {
  HandMadeSession session;
  EXPECT_THAT(section_ids(html_report(session.input())),
              ElementsAre("answer", "unit", "channels", "jig", "edition", "coverage", "verdicts", "events", "steps",
                          "resistance", "ripple", "not-tested", "cautions", "versions"));
  session.result.clear_steps();
  session.result.clear_events();
  session.result.clear_event_counts();
  session.result.clear_output_resistances();
  session.result.clear_contact_resistances();
  session.result.clear_cross_regulation();
  session.result.clear_return_drops();
  session.result.clear_jig_burdens();
  session.result.clear_ripple_bounds();
  session.drawings.Clear();
  session.result.add_events()->set_kind(steadyrail::proto::EVENT_KIND_TIMING);
  EXPECT_THAT(section_ids(html_report(session.input())),
              ElementsAre("answer", "unit", "channels", "jig", "edition", "coverage", "verdicts", "timing",
                          "not-tested", "cautions", "versions"));
}

TEST(HtmlReportTest, SaysSimulatedInTitleEverySectionAndAtTheHeadOfEveryPage) {
  HandMadeSession session;
  const std::string page = html_report(session.input());
  EXPECT_THAT(page, HasSubstr("<title>Simulated: "));
  EXPECT_EQ(occurrences(page, "<span class=\"mark\">simulated</span></h2>"), section_ids(page).size());
  EXPECT_THAT(page, HasSubstr("@top-right { content: \"Simulated"));
  session.result.set_simulated(false);
  session.result.mutable_session()->clear_scenario();
  EXPECT_THAT(html_report(session.input()), Not(testing::ContainsRegex("[Ss]imulated")));
}

TEST(HtmlReportTest, NeedsNothingElse) {
  HandMadeSession session;
  ReportInput input = session.input();
  input.style = *data::shipped("texts/report.css");
  const std::string page = html_report(input);
  for (const char* outside :
       {"<script", "http:", "https:", "src=", "href=", "@import", "<link", "<iframe", " onload"}) {
    EXPECT_THAT(page, Not(HasSubstr(outside)));
  }
  EXPECT_THAT(page, Not(ContainsRegex("url\\([^#]")));
}

TEST(HtmlReportTest, EscapesTextFromOutsideWhereverItIsPrinted) {
  const std::string hostile = "</title><script>alert('1')</script>\" onload=\"x";
  HandMadeSession session;
  session.result.mutable_session()->set_question(hostile);
  session.result.mutable_session()->set_unit_id(hostile);
  session.result.mutable_session()->set_scenario(hostile);
  session.result.set_edition(hostile);
  session.result.add_remarks(hostile);
  session.result.mutable_verdicts(1)->set_channel(hostile);
  session.result.mutable_verdicts(1)->set_reason(hostile);
  session.result.mutable_events(0)->set_channel(hostile);
  session.result.mutable_events(0)->set_note(hostile);
  session.drawings.mutable_waveforms(0)->set_channel(hostile);
  session.drawings.mutable_waveforms(0)->set_unit(hostile);
  session.drawings.mutable_overviews(0)->set_channel(hostile);
  session.jig.mutable_channels(0)->set_name(hostile);
  session.jig.add_not_measured(hostile);
  session.unit.set_notes(hostile);
  session.limits.set_title(hostile);
  ReportInput input = session.input();
  input.caution = hostile;
  const std::string page = html_report(input);
  EXPECT_THAT(page, Not(HasSubstr("<script")));
  EXPECT_THAT(page, Not(HasSubstr("\" onload=")));
  EXPECT_GE(occurrences(page, "&lt;script&gt;alert(&#39;1&#39;)"), 14U);
}

TEST(HtmlReportTest, AnswersFirstInPlainWords) {
  const std::string page = html_report(HandMadeSession{}.input());
  const std::string answer =
      page.substr(page.find("id=\"answer\""), page.find("id=\"unit\"") - page.find("id=\"answer\""));
  EXPECT_THAT(answer, HasSubstr("Out of limits under atx-3.0: +12V at graphics-1-12v."));
  EXPECT_THAT(answer, HasSubstr("Locks up in games after half an hour"));
  EXPECT_THAT(answer, HasSubstr("+12V at graphics-1-12v fell to 10.829 V ± 0.012 V"));
  EXPECT_THAT(answer, HasSubstr("99.946 % of 1,920,000 scans were seen"));  // 1,918,976 of 1,920,000, rounded down
  EXPECT_THAT(answer, HasSubstr("limit from memory"));
}

TEST(HtmlReportTest, DrawsAnEventWithItsLimitBandAndExtreme) {
  // The failing event stands in the answer, one that decides nothing among the events.
  HandMadeSession session;
  const std::string answer = html_report(session.input());
  EXPECT_LT(answer.find("class=\"wave\""), answer.find("id=\"unit\""));
  session.result.mutable_events(0)->set_decision(steadyrail::proto::DECISION_UNDECIDED);
  const std::string page = html_report(session.input());
  const std::string events = page.substr(page.find("id=\"events\""));
  for (const char* part :
       {"class=\"wave\"", "class=\"limit\"", "class=\"band\"", "class=\"extreme\"", "milliseconds"}) {
    EXPECT_THAT(events, HasSubstr(part));
  }
}

TEST(HtmlReportTest, StaysBoundedAndSaysHowManyMore) {
  HandMadeSession session;
  const auto event = session.result.events(0);
  const auto wave = session.drawings.waveforms(0);
  for (std::uint32_t i = 10; i < 3010; ++i) {
    *session.result.add_events() = event;
    session.result.mutable_events(session.result.events_size() - 1)->set_event_id(i);
    auto& copy = *session.drawings.add_waveforms();
    copy.set_event_id(i);
    copy.set_step_s(wave.step_s());
    for (int step = 0; step < 2000; ++step) {
      copy.add_low(11);
      copy.add_high(static_cast<float>(11 + step % 7));
    }
  }
  for (int i = 0; i < 5000; ++i) session.result.mutable_coverage()->add_gaps()->set_start_s(i);
  session.result.mutable_coverage()->set_gaps_total(5001);
  const std::string page = html_report(session.input());
  EXPECT_LT(page.size(), 1'500'000U);
  EXPECT_THAT(page, HasSubstr("The 40 worst of 3,003 listed events are shown"));
  EXPECT_THAT(page, HasSubstr("And 4,981 gaps more."));
}

TEST(HtmlReportTest, TakesASessionWithNothingInIt) {
  const steadyrail::proto::SessionResult empty;
  ReportInput input;
  input.result = &empty;
  const std::string page = html_report(input);
  EXPECT_THAT(page, HasSubstr("Nothing was judged: no limit edition was named."));
  EXPECT_THAT(page, Not(HasSubstr("nan")));
}

TEST(HtmlReportTest, DrawsNoNumberThatIsNone) {
  HandMadeSession session;
  session.drawings.mutable_waveforms(0)->mutable_low()->Set(3, std::nanf(""));
  session.drawings.mutable_waveforms(0)->mutable_high()->Set(5, INFINITY);
  session.result.mutable_verdicts(0)->set_value(NAN);
  const std::string page = html_report(session.input());
  EXPECT_THAT(page, Not(ContainsRegex("[^a-z](nan|inf)[^a-z]")));
}

}  // namespace
}  // namespace host::report
