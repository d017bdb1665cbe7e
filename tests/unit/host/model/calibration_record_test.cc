// SPDX-License-Identifier: Apache-2.0
#include "host/model/calibration_record.h"

#include <random>

#include <google/protobuf/util/message_differencer.h>
#include <gtest/gtest.h>

#include "host/data/shipped.h"
#include "host/model/jig.h"
#include "host/model/jig_budget.h"

namespace host::model {
namespace {

namespace proto = steadyrail::proto;

proto::JigDescription reference() {
  return Jig::from_text(data::shipped("jigs/reference.textproto").value(), "reference").value().description();
}

std::span<const std::byte> bytes(const std::string& content) {
  return std::as_bytes(std::span(content));
}

TEST(CalibrationRecordTest, ReadsBackWhatTheReferenceJigHas) {
  const proto::JigDescription jig = reference();
  const std::string content = calibration_record(jig).value();
  EXPECT_LE(content.size(), kCalibrationRecordBytesMax);
  const proto::Calibration back = read_calibration_record(jig.calibration().id(), bytes(content), jig).value();
  EXPECT_EQ(back.jig_id(), "J-01");
  EXPECT_EQ(back.due(), jig.calibration().due());
  ASSERT_EQ(back.channels_size(), jig.calibration().channels_size());
  for (int n = 0; n < back.channels_size(); ++n) {
    const proto::ChannelCalibration& wrote = jig.calibration().channels(n);
    const proto::ChannelCalibration& read = back.channels(n);
    EXPECT_EQ(read.channel(), wrote.channel());
    EXPECT_NEAR(read.gain(), wrote.gain(), 0.5e-9);
    EXPECT_NEAR(read.offset(), wrote.offset(), 0.5e-7);
    EXPECT_NEAR(read.u_other(), wrote.u_other(), 1e-7);
    EXPECT_NEAR(read.correlation(), wrote.correlation(), 0.5e-4);
    EXPECT_EQ(read.has_burden_ohm(), wrote.has_burden_ohm());
    EXPECT_NEAR(read.burden_ohm(), wrote.burden_ohm(), 0.5e-7);
  }
}

// What a certificate says and what the jig holds are the same to the last bit.
TEST(CalibrationRecordTest, AsRecordedIsExactlyWhatIsReadBack) {
  proto::JigDescription jig = for_recording(reference());
  std::mt19937_64 random(3);
  std::uniform_real_distribution<double> gain(0.99, 1.01), offset(-0.02, 0.02), u(0, 6e-3);
  for (proto::ChannelCalibration& entry : *jig.mutable_calibration()->mutable_channels()) {
    entry.set_gain(gain(random));
    entry.set_offset(offset(random));
    entry.set_u_converter(u(random));
    entry.set_u_temperature(0);
    entry.set_u_age(0);
    entry.set_u_other(entry.u_converter());
  }
  const std::string content = calibration_record(jig).value();
  EXPECT_LE(content.size(), kCalibrationRecordBytesMax);
  const proto::Calibration rounded = as_recorded(jig);
  const proto::Calibration back = read_calibration_record(jig.calibration().id(), bytes(content), jig).value();
  EXPECT_TRUE(google::protobuf::util::MessageDifferencer::Equals(rounded, back));
  *jig.mutable_calibration() = back;
  EXPECT_EQ(calibration_record(jig).value(), content);
  EXPECT_TRUE(Jig::from_description(jig, "jig").has_value());
}

TEST(CalibrationRecordTest, RefusesAnotherDescriptionAndBrokenContent) {
  proto::JigDescription jig = reference();
  const std::string content = calibration_record(jig).value();
  proto::JigDescription other = jig;
  other.mutable_channels(0)->set_unit_per_code(3.1e-4);
  EXPECT_NE(read_calibration_record("C", bytes(content), other).error().find("nominal scales"), std::string::npos);
  other = jig;
  other.mutable_channels(3)->set_name("swapped");
  EXPECT_FALSE(read_calibration_record("C", bytes(content), other));
  other = jig;
  other.mutable_channels()->RemoveLast();
  other.mutable_channels()->RemoveLast();
  EXPECT_NE(read_calibration_record("C", bytes(content), other).error().find("index 22"), std::string::npos);
  for (std::size_t cut = 1; cut < content.size(); cut += 7) {
    EXPECT_FALSE(read_calibration_record("C", bytes(content.substr(0, cut)), jig)) << cut;
  }
  EXPECT_FALSE(read_calibration_record("C", bytes("the notes of an earlier owner"), jig));
  jig.mutable_calibration()->clear_due();
  EXPECT_FALSE(calibration_record(jig));
}

TEST(CalibrationRecordTest, RefusesFiguresBeyondWhatItHolds) {
  proto::JigDescription jig = reference();
  jig.mutable_calibration()->mutable_channels(0)->set_offset(300);
  EXPECT_NE(calibration_record(jig).error().find("main-12v"), std::string::npos);
  jig = reference();
  for (proto::ChannelCalibration& entry : *jig.mutable_calibration()->mutable_channels()) {
    entry.set_gain(0.8);
    entry.set_u_gain(0.9);
    entry.set_u_offset(200);
    entry.set_u_other(400);
    entry.set_u_age(200);
    entry.set_u_temperature(200);
    entry.set_u_converter(200);
  }
  EXPECT_NE(calibration_record(jig).error().find("bytes"), std::string::npos);
}

}  // namespace
}  // namespace host::model
