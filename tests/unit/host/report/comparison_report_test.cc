// SPDX-License-Identifier: Apache-2.0
#include "host/report/comparison_report.h"

#include <gmock/gmock.h>
#include <google/protobuf/text_format.h>
#include <gtest/gtest.h>

#include "host/report/json.h"

namespace host::report {
namespace {

using testing::HasSubstr;
using testing::Not;

steadyrail::proto::Comparison comparison() {
  steadyrail::proto::Comparison out;
  EXPECT_TRUE(google::protobuf::TextFormat::ParseFromString(R"(
    sessions { state: "A" recording: "<b>.steadyrail" lock_ups: 3 exposure_h: 1 lock_ups_per_h_low: 0.62
               lock_ups_per_h_high: 8.8 }
    sessions { state: "B" recording: "b.steadyrail" }
    figures { figure: "contact-resistance" channel: "graphics-1" rail: "+12V" unit: "ohm"
              values { value: 0.0414 } values { value: 0.0064 }
              effect: -0.035 interval_low: -0.0355 interval_high: -0.0345 uncertainty: 0.0005 change: CHANGE_ONE_WAY }
    figures { figure: "mean" channel: "main-5v" rail: "+5V" unit: "V" values { value: 5.01 } values { }
              reason: "not every session has it" }
    lock_ups { lock_ups_a: 3 minutes_a: 60 minutes_b: 60 p_value: 0.24 p_fewer_in_b: 0.12 rate_ratio: 0
               rate_ratio_low: 0 rate_ratio_high: 2.4 }
    said: "one of one figures changed" doubts: "nothing returned to A" not_compared: "some & more")",
                                                            &out));
  return out;
}

TEST(ComparisonReportTest, TextNamesEveryFigureItsChangeAndWhatWeakensIt) {
  const std::string text = comparison_text(comparison());
  EXPECT_THAT(text, HasSubstr("-35.00 mohm"));
  EXPECT_THAT(text, HasSubstr("-35.50 to -34.50 mohm"));
  EXPECT_THAT(text, HasSubstr("one-way"));
  EXPECT_THAT(text, HasSubstr("not every session has it"));
  EXPECT_THAT(text, HasSubstr("0.62 to 8.8"));
  EXPECT_THAT(text, HasSubstr("p = 0.24"));
  EXPECT_THAT(text, HasSubstr("Doubt: nothing returned to A."));
  EXPECT_THAT(text, Not(HasSubstr("SIMULATED")));
}

TEST(ComparisonReportTest, PageEscapesNeedsNothingElseAndCarriesTheCaution) {
  auto told = comparison();
  const std::string page = comparison_html(told, "p { }", "Never open a power supply.");
  EXPECT_THAT(page, HasSubstr("&lt;b&gt;.steadyrail"));
  EXPECT_THAT(page, HasSubstr("some &amp; more"));
  EXPECT_THAT(page, HasSubstr("Never open a power supply."));
  EXPECT_THAT(page, Not(HasSubstr("<b>")));
  EXPECT_THAT(page, Not(HasSubstr("http")));
  EXPECT_THAT(page, Not(HasSubstr("imulated")));
  told.set_simulated(true);
  EXPECT_THAT(comparison_html(told, "", ""), HasSubstr("<title>Simulated: "));
  EXPECT_THAT(comparison_text(told), testing::StartsWith("SIMULATED"));
}

TEST(ComparisonReportTest, JsonPrintsWhatIsAbsentAsNull) {
  const auto json = to_json(comparison());
  ASSERT_TRUE(json);
  EXPECT_THAT(*json, HasSubstr("\"change\": \"one-way\""));
  EXPECT_THAT(*json, HasSubstr("\"change\": \"not-compared\""));
  EXPECT_THAT(*json, HasSubstr("\"effect\": null"));
}

}  // namespace
}  // namespace host::report
