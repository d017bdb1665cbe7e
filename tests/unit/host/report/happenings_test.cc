// SPDX-License-Identifier: Apache-2.0
#include "host/report/happenings.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "host/report/answer.h"
#include "host/report/html_report.h"
#include "host/report/summary.h"
#include "tests/unit/host/report/result_fixture.h"

namespace host::report {
namespace {

namespace proto = steadyrail::proto;
using testing::HasSubstr;
using testing::Not;
using testing::StartsWith;

void add_fall(proto::SessionResult& result, const std::string& first, double start_s) {
  auto* event = result.add_events();
  event->set_kind(proto::EVENT_KIND_SHUTDOWN);
  event->set_channel("pwr-ok");
  event->set_start_s(start_s);
  event->set_first(first);
  event->set_note("first " + first + " <went>");
}

void add_untested(proto::SessionResult& result) {
  auto* verdict = result.add_verdicts();
  verdict->set_quantity(proto::QUANTITY_RISE_TIME);
  verdict->set_no_occasion(true);
  verdict->set_reason("no start of the supply was seen");
}

// A session that shows no start has no gap for it: what was asked of it is answered.
TEST(HappeningsTest, WhatHadNoOccasionDoesNotOpenTheAnswer) {
  HandMadeSession session;
  for (auto& verdict : *session.result.mutable_verdicts()) verdict.set_decision(proto::DECISION_PASS);
  const int checks = tally(session.result).all();
  add_untested(session.result);
  EXPECT_EQ(exit_code(session.result), 0);
  EXPECT_EQ(tally(session.result).all(), checks);
  EXPECT_THAT(text_summary(session.result), HasSubstr("for want of an occasion or of means: rise-time."));
  // Tested after all, it counts.
  auto& late = *session.result.mutable_verdicts(session.result.verdicts_size() - 1);
  late.set_no_occasion(false);
  late.set_decision(proto::DECISION_UNDECIDED);
  EXPECT_EQ(exit_code(session.result), 4);
}

TEST(HappeningsTest, LeadsWithWhatWentFirstMostOften) {
  HandMadeSession session;
  add_fall(session.result, "+5VSB", 3);
  add_fall(session.result, "+5VSB", 2);
  add_fall(session.result, "PS_ON#", 1);
  add_fall(session.result, "PS_ON#", 4);
  add_fall(session.result, "PS_ON#", 5);
  const Answer said = answer(session.result);
  EXPECT_THAT(said.headline, StartsWith("+5VSB fell out of regulation and PWR_OK went low, 2 times. "));
  EXPECT_THAT(said.headline, HasSubstr("Out of limits under atx-3.0"));
  EXPECT_THAT(said.found[0], HasSubstr("At 2.0000 s: first +5VSB"));
  EXPECT_THAT(said.found[1], StartsWith("The supply was switched off by PS_ON# 3 times."));
}

TEST(HappeningsTest, NamesEveryWayToGoOff) {
  const std::pair<const char*, const char*> kWays[] = {
      {"mains", "The mains was lost or dipped and PWR_OK went low, once."},
      {"PWR_OK", "The supply went off by itself once: PWR_OK fell before anything else did."},
      {"+12V too high", "+12V rose above its limit and PWR_OK went low, once."},
      {"+12V", "+12V fell out of regulation and PWR_OK went low, once."},
      {"PS_ON#", ""}};
  for (const auto& [first, says] : kWays) {
    proto::SessionResult result;
    add_fall(result, first, 1);
    EXPECT_EQ(happenings(result).headline, says);
    EXPECT_EQ(happenings(result).found.size(), 1U);
  }
  EXPECT_TRUE(happenings({}).found.empty());
}

TEST(HappeningsTest, TimesOfASupplyReadInMilliseconds) {
  HandMadeSession session;
  auto* verdict = session.result.add_verdicts();
  verdict->set_rail("+12V");
  verdict->set_channel("graphics-1");
  verdict->set_quantity(proto::QUANTITY_RISE_TIME);
  verdict->set_value(0.0312);
  verdict->set_expanded_uncertainty(30e-6);
  verdict->set_limit(0.02);
  verdict->set_unit("s");
  verdict->set_side("high");
  verdict->set_decision(proto::DECISION_FAIL);
  const std::string summary = text_summary(session.result);
  EXPECT_THAT(summary, HasSubstr("rise-time of +12V at graphics-1 was 31.200 ms ± 0.030 ms"));
  EXPECT_THAT(summary, HasSubstr("at most 20.000 ms"));
}

TEST(HappeningsTest, ReportHasThemUnderTiming) {
  HandMadeSession session;
  add_fall(session.result, "PWR_OK", 2.5);
  auto* figure = session.result.mutable_events(session.result.events_size() - 1)->add_figures();
  figure->set_quantity(proto::QUANTITY_PWR_OK_TO_RAILS);
  figure->set_channel("main-3v3");
  figure->set_value(3.1e-3);
  figure->set_unit("s");
  figure->set_expanded_uncertainty(40e-6);
  const std::string html = html_report(session.input());
  const std::string timing = html.substr(html.find("<section id=\"timing\""));
  EXPECT_THAT(timing, HasSubstr("first PWR_OK &lt;went&gt;"));
  EXPECT_THAT(timing, HasSubstr("pwr-ok-to-rails at main-3v3 3.100 ms ± 0.040 ms"));
}

}  // namespace
}  // namespace host::report
