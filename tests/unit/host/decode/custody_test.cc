// SPDX-License-Identifier: Apache-2.0
#include "host/decode/custody.h"

#include <gtest/gtest.h>

namespace host::decode {
namespace {

namespace proto = steadyrail::proto;

constexpr std::uint64_t kNewYear2026 = 1'767'225'600'000'000;  // us of POSIX time
constexpr std::uint64_t kDay = 86'400'000'000;

proto::RecordingHeader header() {
  proto::RecordingHeader out;
  out.set_started_utc_us(kNewYear2026);
  out.mutable_jig()->set_id("J-01");
  auto& calibration = *out.mutable_jig()->mutable_calibration();
  calibration.set_id("C-1");
  calibration.set_date("2025-12-01");
  calibration.set_due("2026-12-01");
  calibration.add_channels()->set_channel("main-12v");
  return out;
}

proto::Hello hello(const std::string& calibration = "C-1", const std::string& jig = "J-01") {
  proto::Hello out;
  out.set_jig_id(jig);
  out.set_calibration_id(calibration);
  return out;
}

std::string doubt(const proto::RecordingHeader& header, const proto::Hello& hello) {
  return calibration_doubt(header, &hello);
}

TEST(CustodyTest, OwnCalibrationWithinItsDateIsSound) {
  EXPECT_EQ(doubt(header(), hello()), "");
  EXPECT_EQ(calibration_doubt(header(), nullptr), "");
  proto::RecordingHeader made = header();
  made.mutable_jig()->mutable_calibration()->set_jig_id("J-01");
  EXPECT_EQ(doubt(made, hello()), "");
}

TEST(CustodyTest, NoneInTheJig) {
  EXPECT_EQ(doubt(header(), hello("")), "the jig holds no calibration: C-1 was never stored in it");
  proto::RecordingHeader bare = header();
  bare.mutable_jig()->clear_calibration();
  EXPECT_EQ(doubt(bare, hello("")), "the jig holds no calibration");
  EXPECT_EQ(doubt(bare, hello("C-2")), "the jig holds calibration C-2, the recording was made without one");
}

TEST(CustodyTest, AnotherCalibrationOrAnotherJig) {
  EXPECT_EQ(doubt(header(), hello("C-2")), "the jig holds calibration C-2, the recording was made with C-1");
  EXPECT_EQ(doubt(header(), hello("C-1", "J-02")), "calibration C-1 belongs to jig J-01, this is J-02");
  proto::RecordingHeader foreign = header();
  foreign.mutable_jig()->mutable_calibration()->set_jig_id("J-07");
  EXPECT_EQ(doubt(foreign, hello()), "calibration C-1 belongs to jig J-07, this is J-01");
  EXPECT_EQ(calibration_doubt(foreign, nullptr), "calibration C-1 belongs to jig J-07, this is J-01");
}

// It holds through its due day, in UTC, and not a microsecond longer.
TEST(CustodyTest, PastItsDate) {
  proto::RecordingHeader made = header();
  made.mutable_jig()->mutable_calibration()->set_due("2026-01-01");
  made.set_started_utc_us(kNewYear2026 + kDay - 1);
  EXPECT_EQ(doubt(made, hello()), "");
  made.set_started_utc_us(kNewYear2026 + kDay);
  EXPECT_EQ(doubt(made, hello()), "calibration C-1 was due on 2026-01-01, the recording is of 2026-01-02");
  made.mutable_jig()->mutable_calibration()->set_due("soon");
  EXPECT_EQ(doubt(made, hello()), "calibration C-1 names no due date");
  made = header();
  made.mutable_jig()->mutable_calibration()->set_date("2026-01-02");
  EXPECT_EQ(doubt(made, hello()),
            "calibration C-1 is dated 2026-01-02, the recording is of 2026-01-01: a clock is wrong");
  made.set_started_utc_us(0);
  EXPECT_EQ(doubt(made, hello()), "");
}

}  // namespace
}  // namespace host::decode
