// SPDX-License-Identifier: Apache-2.0
#include "host/model/day.h"

#include <gtest/gtest.h>

namespace host::model {
namespace {

// 2026-01-01T00:00:00Z is 1,767,225,600 s of POSIX time: 20,454 days.
TEST(DayTest, CountsFromTheEpoch) {
  EXPECT_EQ(day_of("1970-01-01"), 0);
  EXPECT_EQ(day_of("2026-01-01"), 20454);
  EXPECT_EQ(day_of(HostTime{std::chrono::microseconds(1'767'225'599'999'999)}), 20453);
  EXPECT_EQ(day_of(HostTime{std::chrono::microseconds(1'767'225'600'000'000)}), 20454);
  for (const char* text : {"1972-02-29", "1999-12-31", "2026-05-17"}) EXPECT_EQ(day_text(*day_of(text)), text);
}

TEST(DayTest, RefusesWhatIsNoDay) {
  for (const char* text : {"", "2026", "2026-05", "2026-5-17", "17.05.2026", "2026-02-29", "2026-13-01", "2026-05-17 ",
                           "2026-05-1x", "1969-12-31", "+026-05-17", "2026/05/17"}) {
    EXPECT_FALSE(day_of(text)) << text;
  }
}

TEST(DayTest, MonthsEndWhereTheMonthDoes) {
  EXPECT_EQ(day_text(months_later(*day_of("2026-11-25"), 12)), "2027-11-25");
  EXPECT_EQ(day_text(months_later(*day_of("2027-08-31"), 6)), "2028-02-29");
}

}  // namespace
}  // namespace host::model
