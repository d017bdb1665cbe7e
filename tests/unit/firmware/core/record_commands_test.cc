// SPDX-License-Identifier: Apache-2.0
// Identity and calibration by command: written only while nothing is driven or running, told back at once.
#include <gtest/gtest.h>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

namespace proto = steadyrail::proto;
using testing::JigFixture;
using testing::of_kind;

proto::HostToJig calibration(const std::string& id, std::size_t bytes, bool may_erase = false) {
  proto::HostToJig command;
  command.mutable_store_calibration()->set_calibration_id(id);
  std::string content(bytes, '\0');
  for (std::size_t k = 0; k < bytes; ++k) content[k] = static_cast<char>(k * 7);
  command.mutable_store_calibration()->set_content(content);
  command.mutable_store_calibration()->set_may_erase(may_erase);
  return command;
}

proto::HostToJig identity() {
  proto::HostToJig command;
  proto::StoreIdentity& store = *command.mutable_store_identity();
  store.set_jig_id("J-02");
  for (int c = 0; c < 24; ++c) store.add_channel_names("input-" + std::to_string(c));
  for (const std::uint32_t channel : {1U, 2U, 3U, 4U}) store.add_line_channels(channel);
  return command;
}

proto::Acknowledgement answer_to(JigFixture& jig, const proto::HostToJig& command) {
  jig.send(command);
  return testing::last_answer(jig.heard());
}

proto::Hello hello_of(JigFixture& jig) {
  jig.identify();
  return of_kind(jig.heard(), proto::JigToHost::kHello).at(0).hello();
}

TEST(RecordCommandsTest, TellsBackWhatWasStored) {
  JigFixture jig;
  EXPECT_EQ(hello_of(jig).calibration_id(), "");
  for (const std::size_t bytes : {0U, 1U, 127U, 128U, 960U}) {
    EXPECT_EQ(answer_to(jig, calibration("bench B2", bytes)).refusal(), proto::REFUSAL_NONE);
    EXPECT_EQ(hello_of(jig).calibration_id(), "bench B2");
    proto::HostToJig read;
    read.mutable_read_calibration();
    jig.send(read);
    const auto told = of_kind(jig.heard(), proto::JigToHost::kCalibration);
    ASSERT_EQ(told.size(), 1U);
    EXPECT_EQ(told[0].calibration().calibration_id(), "bench B2");
    EXPECT_EQ(told[0].body(), calibration("", bytes).store_calibration().content()) << bytes;
  }
  EXPECT_EQ(answer_to(jig, identity()).refusal(), proto::REFUSAL_NONE);
  const proto::Hello hello = hello_of(jig);
  EXPECT_EQ(hello.jig_id(), "J-02");
  EXPECT_EQ(hello.channel_names(23), "input-23");
  EXPECT_EQ(hello.calibration_id(), "bench B2");
  EXPECT_EQ(jig.store.identity().line_channels[4], 4);
}

TEST(RecordCommandsTest, AsksBeforeItStandsStillForAnErase) {
  JigFixture jig;
  jig.store.full = true;
  EXPECT_EQ(answer_to(jig, calibration("a", 10)).refusal(), proto::REFUSAL_ERASE_NEEDED);
  EXPECT_EQ(hello_of(jig).calibration_id(), "");
  EXPECT_EQ(answer_to(jig, calibration("a", 10, true)).refusal(), proto::REFUSAL_NONE);
  EXPECT_EQ(hello_of(jig).calibration_id(), "a");
}

TEST(RecordCommandsTest, TellsAStoreThatFailsAndKeepsWhatWasThere) {
  JigFixture jig;
  ASSERT_EQ(answer_to(jig, calibration("sound", 10)).refusal(), proto::REFUSAL_NONE);
  jig.store.failing = true;
  EXPECT_EQ(answer_to(jig, calibration("lost", 10)).refusal(), proto::REFUSAL_STORE_FAILED);
  EXPECT_EQ(hello_of(jig).calibration_id(), "sound");
}

TEST(RecordCommandsTest, NamesTheFieldThatIsWrong) {
  JigFixture jig;
  const auto field = [&](const std::function<void(proto::StoreIdentity&)>& change) {
    proto::HostToJig command = identity();
    change(*command.mutable_store_identity());
    const proto::Acknowledgement answer = answer_to(jig, command);
    EXPECT_EQ(answer.refusal(), proto::REFUSAL_OUT_OF_RANGE);
    return answer.field();
  };
  EXPECT_EQ(field([](auto& store) { store.clear_jig_id(); }), 1U);
  EXPECT_EQ(field([](auto& store) { store.mutable_channel_names()->RemoveLast(); }), 2U);
  EXPECT_EQ(field([](auto& store) { store.clear_line_channels(); }), 3U);
  EXPECT_EQ(field([](auto& store) { store.set_line_channels(0, 24); }), 3U);
  EXPECT_EQ(field([](auto& store) { store.set_jig_id("a name of sixteen"); }), 0U) << "more than the jig holds";
  EXPECT_EQ(answer_to(jig, calibration("a", 961)).refusal(), proto::REFUSAL_OUT_OF_RANGE);
  EXPECT_EQ(hello_of(jig).jig_id(), "J-01");
}

}  // namespace
}  // namespace firmware
