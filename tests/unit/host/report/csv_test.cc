// SPDX-License-Identifier: Apache-2.0
#include "host/report/csv.h"

#include <sstream>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/unit/host/report/result_fixture.h"

namespace host::report {
namespace {

using testing::HasSubstr;
using testing::StartsWith;

TEST(CsvTest, QuotesByRfc4180) {
  // RFC 4180 section 2, rules 5 to 7: commas, line ends and quotes need quotes; a quote inside is doubled.
  EXPECT_EQ(csv_field("aaa"), "aaa");
  EXPECT_EQ(csv_field("b\r\nbb"), "\"b\r\nbb\"");
  EXPECT_EQ(csv_field("b\"bb"), "\"b\"\"bb\"");
  EXPECT_EQ(csv_field("a,b"), "\"a,b\"");
}

std::size_t fields(const std::string& line) {
  return 1 + static_cast<std::size_t>(std::ranges::count(line, ','));
}

TEST(CsvTest, EventsHaveOneLineEachWithAsManyFieldsAsTheHeader) {
  std::istringstream lines(events_csv(HandMadeSession{}.result));
  std::string line;
  std::size_t columns = 0;
  int count = 0;
  while (std::getline(lines, line)) {
    ASSERT_THAT(line, testing::EndsWith("\r"));
    if (columns == 0) columns = fields(line);
    EXPECT_EQ(fields(line), columns) << line;
    ++count;
  }
  EXPECT_EQ(count, 1 + 3);
}

TEST(CsvTest, EventsNameUnitsInTheHeaderAndLeaveMissingFiguresEmpty) {
  const std::string csv = events_csv(HandMadeSession{}.result);
  EXPECT_THAT(csv,
              HasSubstr(",start_s,start_uncertainty_s,duration_s,extreme_v,expanded_uncertainty_v,depth_v,area_vs,"));
  EXPECT_THAT(csv,
              HasSubstr("yes,1,excursion,graphics-1-12v,+12V,low,12.0009375,1.3e-05,0.01,10.8285,0.0117,0.3715,0.00342,"
                        "chip,yes,fail,no,,,,,,,,,,,,,none,0,unknown,,,,,,\r\n"));
}

TEST(CsvTest, TimesStandInTheLastColumns) {
  HandMadeSession session;
  auto* event = session.result.add_events();
  event->set_kind(steadyrail::proto::EVENT_KIND_SHUTDOWN);
  event->set_first("+5VSB");
  for (const double value : {3.1e-3, 2.9e-3}) {
    auto* figure = event->add_figures();
    figure->set_quantity(steadyrail::proto::QUANTITY_PWR_OK_TO_RAILS);
    figure->set_channel("main-3v3");
    figure->set_value(value);
    figure->set_unit("s");
  }
  const std::string csv = events_csv(session.result);
  EXPECT_THAT(csv, HasSubstr(",note,first,figures\r\n"));
  EXPECT_THAT(csv, HasSubstr(",+5VSB,pwr-ok-to-rails main-3v3 0.0031 s; pwr-ok-to-rails main-3v3 0.0029 s\r\n"));
}

TEST(CsvTest, WindowsKeepVoltsAndAmperesApart) {
  std::ostringstream out;
  write_windows_header(out);
  write_window(out, {.channel = "main-12v",
                     .start_s = 0.5,
                     .length_s = 0.001,
                     .min = 11.9,
                     .mean = 12,
                     .max = 12.1,
                     .rms = 0.01,
                     .scans_below = 3});
  write_window(out, {.channel = "a,b",
                     .amperes = true,
                     .start_s = 0.5,
                     .length_s = 0.001,
                     .min = 1,
                     .mean = 2,
                     .max = 3,
                     .rms = 0.5});
  EXPECT_EQ(out.str(),
            "channel,start_s,length_s,min_v,mean_v,max_v,noise_rms_v,min_a,mean_a,max_a,noise_rms_a,scans_below_limit,"
            "scans_above_limit\r\n"
            "main-12v,0.5,0.001,11.9,12,12.1,0.01,,,,,3,0\r\n"
            "\"a,b\",0.5,0.001,,,,,1,2,3,0.5,0,0\r\n");
}

}  // namespace
}  // namespace host::report
