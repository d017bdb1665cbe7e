// SPDX-License-Identifier: Apache-2.0
#include "host/model/jig.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "host/data/shipped.h"

namespace host::model {
namespace {

using ::testing::HasSubstr;

// Line 1 is the id; each channel takes two lines from line 3 on.
constexpr std::string_view kSound = R"(id: "J-09"
scan_rate_hz: 32000
channels { index: 0 name: "a-12v" kind: CHANNEL_KIND_RAIL_VOLTAGE rail: RAIL_P12V input: "m.0" current_channel: "a-amps"
  unit_per_code: 3.0625e-4 unit_at_code_0: 10.0352 pole_hz: [14182, 14210] noise_code_rms: 1.3 ground_channel: "a-gnd" }
channels { index: 1 name: "a-amps" kind: CHANNEL_KIND_CURRENT rail: RAIL_P12V input: "m.1"
  unit_per_code: 2.5e-3 pole_hz: 14200 }
channels { index: 2 name: "a-gnd" kind: CHANNEL_KIND_GROUND_OFFSET input: "m.2"
  unit_per_code: 1.5e-5 pole_hz: 14200 }
calibration { id: "CAL-1" date: "2025-12-01" due: "2026-12-01"
  channels { channel: "a-12v" gain: 1.01 offset: 0.02 u_gain: 2e-5 u_offset: 3e-4 correlation: -0.8 u_other: 5e-3 } }
)";

std::string with(std::string_view from, std::string_view to) {
  std::string text(kSound);
  const auto at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return text.replace(at, from.size(), to);
}

// The one complaint about a text, as it is printed.
std::string complaint(const std::string& text) {
  const auto jig = Jig::from_text(text, "j.textproto");
  if (jig) return "accepted";
  EXPECT_EQ(jig.error().size(), 1u) << to_string(jig.error());
  return jig.error().front().to_string();
}

TEST(JigTest, AcceptsASoundDescription) {
  const auto jig = Jig::from_text(kSound, "j.textproto");
  ASSERT_TRUE(jig.has_value()) << to_string(jig.error());
  ASSERT_EQ(jig->channels().size(), 3u);
  const JigChannel& volts = jig->channels()[0];
  EXPECT_EQ(volts.rail_label, "+12V");
  EXPECT_EQ(volts.current, 1u);
  EXPECT_EQ(volts.ground, 2u);
  EXPECT_TRUE(volts.calibrated);
  EXPECT_FALSE(jig->channels()[1].calibrated);
  EXPECT_EQ(jig->find("a-gnd"), jig->at(2));
  EXPECT_EQ(jig->find("b"), nullptr);
  EXPECT_EQ(jig->at(7), nullptr);
}

TEST(JigTest, AppliesTheCalibrationToTheNominalScale) {
  const auto jig = Jig::from_text(kSound, "j.textproto");
  ASSERT_TRUE(jig.has_value());
  const JigChannel& volts = jig->channels()[0];
  // By hand: nominal 10.0352 + 6400 * 3.0625e-4 = 11.9952 V; true = 1.01 * 11.9952 + 0.02.
  EXPECT_NEAR(volts.value(6400), 12.135152, 1e-9);
  EXPECT_NEAR(volts.code(12.135152), 6400, 1e-6);
}

TEST(JigTest, NamesTwoChannelsOnOneInput) {
  EXPECT_EQ(complaint(with("input: \"m.2\"", "input: \"m.1\"")),
            "j.textproto:7:68: input m.1 of channel a-gnd is already used by channel a-amps");
}

TEST(JigTest, NamesTwoChannelsOnOneIndex) {
  EXPECT_EQ(complaint(with("index: 2", "index: 1")),
            "j.textproto:7:12: index 1 of channel a-gnd is already used by channel a-amps");
}

TEST(JigTest, RefusesAnInputThatIsNoneOrNotOfItsIndex) {
  EXPECT_EQ(complaint(with("input: \"m.2\"", "input: \"z.9\"")),
            "j.textproto:7:68: input z.9 of channel a-gnd is not written converter.channel: \"m.0\" to \"m.7\"");
  for (const char* elsewhere : {"m.3", "p.2"}) {
    EXPECT_THAT(complaint(with("input: \"m.2\"", std::string("input: \"") + elsewhere + "\"")),
                HasSubstr("does not belong at index 2"));
  }
}

TEST(JigTest, NamesTwoChannelsOfOneName) {
  const auto jig = Jig::from_text(with("name: \"a-gnd\"", "name: \"a-amps\""), "j.textproto");
  ASSERT_FALSE(jig.has_value());
  EXPECT_THAT(to_string(jig.error()),
              HasSubstr("j.textproto:7:21: name a-amps of channel a-amps is already used by channel a-amps"));
}

TEST(JigTest, RefusesAnIndexBeyondTheScan) {
  EXPECT_EQ(complaint(with("index: 2", "index: 24")), "j.textproto:7:12: index 24 is beyond 23");
}

// 2.0e-4 V a code from 0 V: full scale 13.107 V, 99.5 % of it 13.041 V; the +12 V window of over-voltage protection
// ends at 15.6 V (ATX Power Supply Design Guide v0.9, Table 11).
TEST(JigTest, RefusesADividerThatClipsBelowTheOverVoltageWindow) {
  EXPECT_EQ(complaint(with("unit_per_code: 3.0625e-4 unit_at_code_0: 10.0352",
                           "unit_per_code: 2.0e-4 unit_at_code_0: 6.5536")),
            "j.textproto:4:3: channel a-12v clips at 13.041 V, below the 15.60 V it must read on +12V");
}

TEST(JigTest, RefusesADividerThatCannotReadADeadRail) {
  EXPECT_EQ(complaint(with("unit_at_code_0: 10.0352", "unit_at_code_0: 15.0")),
            "j.textproto:4:28: channel a-12v clips at 4.965 V, above the 0.05 V it must read on +12V");
}

TEST(JigTest, RefusesReferencesThatAreNotThereOrOfTheWrongKind) {
  EXPECT_EQ(complaint(with("current_channel: \"a-amps\"", "current_channel: \"b-amps\"")),
            "j.textproto:3:96: channel a-12v refers to b-amps, which is not there");
  EXPECT_EQ(complaint(with("current_channel: \"a-amps\"", "current_channel: \"a-gnd\"")),
            "j.textproto:3:96: channel a-12v refers to a-gnd, which is a ground offset, not a current");
  EXPECT_EQ(complaint(with("ground_channel: \"a-gnd\"", "ground_channel: \"a-amps\"")),
            "j.textproto:4:96: channel a-12v refers to a-amps, which is a current, not a ground offset");
}

TEST(JigTest, RefusesTheCurrentOfAnotherRail) {
  EXPECT_THAT(complaint(with("CURRENT rail: RAIL_P12V", "CURRENT rail: RAIL_P5V")),
              HasSubstr("channel a-12v is on +12V, but a-amps carries the current of +5V"));
}

TEST(JigTest, RefusesMissingPolesAtTheChannel) {
  EXPECT_THAT(complaint(with("unit_per_code: 1.5e-5 pole_hz: 14200", "unit_per_code: 1.5e-5")),
              HasSubstr("j.textproto:7:1: channel a-gnd names no pole"));
  EXPECT_THAT(complaint(with("pole_hz: [14182, 14210]", "pole_hz: [14182, 0]")), HasSubstr("must be above 0 Hz"));
}

TEST(JigTest, RefusesAScanRateOfZero) {
  EXPECT_EQ(complaint(with("scan_rate_hz: 32000", "scan_rate_hz: 0")), "j.textproto:2:1: scan rate is 0 or missing");
  EXPECT_THAT(complaint(with("scan_rate_hz: 32000\n", "\n")), HasSubstr("scan rate is 0 or missing"));
}

TEST(JigTest, RefusesACalibrationOfAChannelThatIsNotThereOrTwice) {
  EXPECT_EQ(complaint(with("channels { channel: \"a-12v\"", "channels { channel: \"b-12v\"")),
            "j.textproto:10:14: calibration of b-12v, which is not there");
  EXPECT_EQ(
      complaint(with("u_other: 5e-3 } }", "u_other: 5e-3 }\n  channels { channel: \"a-12v\" gain: 1 u_other: 1 } }")),
      "j.textproto:11:14: channel a-12v is calibrated twice");
}

TEST(JigTest, RefusesFiguresThatAreNoCalibration) {
  EXPECT_THAT(complaint(with("gain: 1.01", "gain: 0")), HasSubstr("10:31: gain 0 of channel a-12v"));
  EXPECT_THAT(complaint(with("u_gain: 2e-5", "u_gain: -2e-5")), HasSubstr("u_gain of channel a-12v must be 0 or more"));
  EXPECT_THAT(complaint(with("correlation: -0.8", "correlation: -1.8")), HasSubstr("beyond -1 to 1"));
  EXPECT_THAT(complaint(with("due: \"2026", "due: \"2024")), HasSubstr("is due 2024-12-01 but dates from 2025-12-01"));
  EXPECT_THAT(complaint(with("u_gain: 2e-5 u_offset: 3e-4 correlation: -0.8 u_other: 5e-3", "")),
              HasSubstr("without uncertainty"));
}

TEST(JigTest, RefusesNumbersThatAreNone) {
  for (std::string_view bad : {"nan", "inf", "-inf", "0", "-1"}) {
    EXPECT_FALSE(
        Jig::from_text(with("unit_per_code: 3.0625e-4", "unit_per_code: " + std::string(bad)), "j").has_value())
        << bad;
  }
  EXPECT_FALSE(Jig::from_text(with("unit_at_code_0: 10.0352", "unit_at_code_0: nan"), "j").has_value());
}

TEST(JigTest, NamesEveryContradictionNotOnlyTheFirst) {
  std::string text = with("scan_rate_hz: 32000", "scan_rate_hz: 0");
  text.replace(text.find("index: 2"), 8, "index: 1");
  const auto jig = Jig::from_text(text, "j.textproto");
  ASSERT_FALSE(jig.has_value());
  EXPECT_EQ(jig.error().size(), 2u);
}

TEST(JigTest, ChecksADescriptionFromARecordingWithoutPlaces) {
  auto jig = Jig::from_text(kSound, "j.textproto");
  ASSERT_TRUE(jig.has_value());
  auto description = jig->description();
  EXPECT_TRUE(Jig::from_description(description, "run.steadyrail").has_value());
  description.set_scan_rate_hz(0);
  const auto refused = Jig::from_description(description, "run.steadyrail");
  ASSERT_FALSE(refused.has_value());
  EXPECT_EQ(to_string(refused.error()), "run.steadyrail: scan rate is 0 or missing");
}

TEST(JigTest, NamesTheLineOfEveryContradictionOfTheLoadBank) {
  const std::string whole(*host::data::shipped("jigs/reference.textproto"));
  const auto line_of = [&](const std::string& part) {
    return std::to_string(1 + std::ranges::count(whole.substr(0, whole.find(part)), '\n'));
  };
  const std::string five = "branches { gate: 5 rail: RAIL_P12V amps: 4.93";
  const auto complaint = [&](const std::string& from, const std::string& to) {
    std::string text = whole;
    EXPECT_NE(text.find(from), std::string::npos) << from;
    text.replace(text.find(from), from.size(), to);
    const auto jig = Jig::from_text(text, "j");
    return jig ? "" : to_string(jig.error());
  };
  const std::string at = "j:" + line_of(five) + ":";
  EXPECT_EQ(complaint(five, "branches { gate: 4 rail: RAIL_P12V amps: 4.93"), at + "14: gate 4 is there twice");
  EXPECT_EQ(complaint(five, "branches { gate: 8 rail: RAIL_P12V amps: 4.93"), at + "14: gate 8 is beyond 7");
  EXPECT_NE(complaint(five, "branches { gate: 5 rail: RAIL_P12V amps: 0").find(at), std::string::npos);
  EXPECT_NE(
      complaint(five, "branches { gate: 5 rail: RAIL_P5V amps: 4.93").find("gate 5 loads +5V, but current-graphics-3"),
      std::string::npos);
  EXPECT_NE(complaint(five, "branches { gate: 5 amps: 4.93").find("gate 5 names no rail"), std::string::npos);
  const std::string sees = "current_channel: \"current-main-3v3\" }";
  EXPECT_NE(complaint(sees, "current_channel: \"main-3v3\" }").find("names main-3v3, which is a rail voltage"),
            std::string::npos);
  EXPECT_NE(complaint(sees, "current_channel: \"none\" }").find("names none, which is not there"), std::string::npos);
  EXPECT_NE(complaint("energy_j_max: 60000", "energy_j_max: -1").find("energy_j_max must be above 0"),
            std::string::npos);
  EXPECT_NE(complaint("power_w_max: 650 ", "").find("power_w_max must be above 0"), std::string::npos);
}

// Cut anywhere, the shipped description is refused or read, and never crashes the reader.
TEST(JigTest, SurvivesADescriptionCutAtAnyByte) {
  const std::string_view whole = *host::data::shipped("jigs/reference.textproto");
  ASSERT_TRUE(Jig::from_text(whole, "whole").has_value());
  std::size_t refused = 0;
  for (std::size_t end = 0; end < whole.size(); end += 37) {
    const auto jig = Jig::from_text(whole.substr(0, end), "cut");
    if (!jig) ++refused;
  }
  EXPECT_GT(refused, whole.size() / 37 / 2);
}

}  // namespace
}  // namespace host::model
