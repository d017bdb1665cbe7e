// SPDX-License-Identifier: Apache-2.0
#include "host/app/duration.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace host::app {
namespace {

using std::chrono::milliseconds;

TEST(DurationTest, TakesANumberAndAUnit) {
  EXPECT_EQ(parse_duration("500ms").value(), milliseconds(500));
  EXPECT_EQ(parse_duration("90s").value(), milliseconds(90'000));
  EXPECT_EQ(parse_duration("5m").value(), milliseconds(300'000));
  EXPECT_EQ(parse_duration("8h").value(), milliseconds(28'800'000));
  EXPECT_EQ(parse_duration("1.5s").value(), milliseconds(1'500));
}

TEST(DurationTest, RefusesWhatIsNoDuration) {
  for (const char* wrong :
       {"", "s", "5", "5x", "5 s", "-5s", "0s", "0.1ms", "nans", "infs", "1e99h", "721h", "5s5", "0x5s"}) {
    const auto parsed = parse_duration(wrong);
    ASSERT_FALSE(parsed.has_value()) << wrong;
    EXPECT_THAT(parsed.error(), testing::HasSubstr("90s")) << "the message shows what to write";
  }
}

}  // namespace
}  // namespace host::app
