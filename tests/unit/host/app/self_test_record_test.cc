// SPDX-License-Identifier: Apache-2.0
// When a kept self-test allows the load bank, and every reason why it does not.
#include "host/app/self_test_record.h"

#include <cstdlib>
#include <filesystem>
#include <fstream>

#include <gtest/gtest.h>

#include "host/data/shipped.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

model::Jig jig() {
  return model::Jig::from_text(*data::shipped("jigs/reference.textproto"), "reference").value();
}

class SelfTestRecordTest : public ::testing::Test {
 protected:
  SelfTestRecordTest() : folder(std::filesystem::path(::testing::TempDir()) / "self_test_record") {
    std::filesystem::remove_all(folder);
    file = (folder / "deep" / "kept.textproto").string();
    hello.set_jig_id("J-01");
    hello.set_firmware("steadyrail 1");
    report.set_jig("J-01");
    report.set_firmware("steadyrail 1");
    report.set_boot(7);
    report.set_description_sha256(built_sha256(jig()));
    report.set_outcome(proto::TEST_OUTCOME_PASS);
  }
  ~SelfTestRecordTest() override { std::filesystem::remove_all(folder); }

  std::string refusal(std::uint32_t boot = 7) {
    EXPECT_TRUE(keep_self_test(file, report).has_value());
    return self_test_refusal(file, jig(), hello, boot);
  }

  std::filesystem::path folder;
  std::string file;
  proto::Hello hello;
  proto::SelfTestReport report;
};

TEST_F(SelfTestRecordTest, AllowsWhatPassedOnThisStartOfThisJig) {
  EXPECT_EQ(refusal(), "");
}

TEST_F(SelfTestRecordTest, RefusesEverythingElseWithItsReason) {
  EXPECT_NE(self_test_refusal(file, jig(), hello, 7).find("no self-test of jig J-01 is kept"), std::string::npos);
  EXPECT_NE(refusal(8).find("switched on or reset since its self-test (start 7, now 8)"), std::string::npos);
  report.set_outcome(proto::TEST_OUTCOME_UNDECIDED);
  EXPECT_NE(refusal().find("did not pass"), std::string::npos);
  report.set_outcome(proto::TEST_OUTCOME_FAIL);
  EXPECT_NE(refusal().find("did not pass"), std::string::npos);
  report.set_outcome(proto::TEST_OUTCOME_PASS);
  report.set_firmware("steadyrail 2");
  EXPECT_NE(refusal().find("tested with firmware steadyrail 2"), std::string::npos);
  report.set_firmware("steadyrail 1");
  report.set_description_sha256("00");
  EXPECT_NE(refusal().find("description of J-01 has changed"), std::string::npos);
  report.set_description_sha256(built_sha256(jig()));
  report.set_jig("J-07");
  EXPECT_NE(refusal().find("of another jig, J-07"), std::string::npos);
  report.set_jig("J-01");
  hello.set_simulated(true);
  EXPECT_NE(refusal().find("of another jig"), std::string::npos) << "a real jig's is not a simulated one's";
  std::ofstream(file) << "outcome: TEST_OUT";
  EXPECT_NE(self_test_refusal(file, jig(), hello, 7).find(file + ":1:"), std::string::npos);
}

TEST_F(SelfTestRecordTest, ACalibrationChangesNothingAWireDoes) {
  proto::JigDescription description = jig().description();
  description.mutable_calibration()->set_id("CAL-9");
  EXPECT_EQ(built_sha256(model::Jig::from_description(description, "x").value()), built_sha256(jig()));
  description.mutable_channels(0)->set_unit_per_code(description.channels(0).unit_per_code() * 1.01);
  EXPECT_NE(built_sha256(model::Jig::from_description(description, "x").value()), built_sha256(jig()));
}

TEST_F(SelfTestRecordTest, LiesInTheUsersStateFolder) {
  setenv("XDG_STATE_HOME", "/somewhere", 1);
  EXPECT_EQ(self_test_file("J-01", false), "/somewhere/steadyrail/self-test-J-01.textproto");
  EXPECT_EQ(self_test_file("a/../b", true), "/somewhere/steadyrail/self-test-a_.._b-virtual.textproto");
  setenv("XDG_STATE_HOME", "relative", 1);
  setenv("HOME", "/users/u", 1);
  EXPECT_EQ(self_test_file("J-01", false), "/users/u/.local/state/steadyrail/self-test-J-01.textproto");
  unsetenv("XDG_STATE_HOME");
}

}  // namespace
}  // namespace host::app
