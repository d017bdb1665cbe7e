// SPDX-License-Identifier: Apache-2.0
// Real datagrams over loopback: from the sender, and from the one-line senders as a shell runs them.
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <functional>
#include <thread>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "host/heartbeat/one_liner.h"
#include "host/heartbeat/receiver.h"
#include "host/heartbeat/sender.h"

namespace host::heartbeat {
namespace {

namespace proto = steadyrail::proto;
using std::chrono::milliseconds;

constexpr const char* kToken = "loop-b4ck";

class LoopbackTest : public testing::Test {
 protected:
  void SetUp() override {
    auto listening = Receiver::listen("127.0.0.1", 0, kToken);
    ASSERT_TRUE(listening) << listening.error();
    receiver_ = std::move(*listening);
  }
  /// Waits up to 10 s for `done`, taking notes meanwhile.
  bool wait(const std::function<bool()>& done) {
    for (int i = 0; i < 500 && !done(); ++i) {
      collect();
      std::this_thread::sleep_for(milliseconds(20));
    }
    return done();
  }
  void collect() {
    for (const proto::HostNote& note : receiver_->take_notes()) {
      if (note.has_heartbeats()) summary_ = note.heartbeats();
      if (note.has_heartbeat_silence()) silence_ = note.heartbeat_silence();
    }
    for (std::string& words : receiver_->take_words()) words_.push_back(std::move(words));
  }
  void finish() {
    receiver_->finish();
    collect();
  }

  std::unique_ptr<Receiver> receiver_;
  proto::HeartbeatSummary summary_;
  proto::HeartbeatSilence silence_;
  std::vector<std::string> words_;
};

TEST_F(LoopbackTest, TheSenderBeatsAndSaysFarewell) {
  const auto sent = send_beats({.host = "127.0.0.1",
                                .port = receiver_->port(),
                                .token = kToken,
                                .period = milliseconds(100),
                                .duration = milliseconds(450),
                                .stop = {}},
                               [](const Sent&) {});
  ASSERT_TRUE(sent) << sent.error();
  std::this_thread::sleep_for(milliseconds(500));
  finish();
  EXPECT_EQ(sent->failed, 0U);
  EXPECT_EQ(summary_.beats(), sent->beats);
  EXPECT_EQ(summary_.silences(), 0U);
  EXPECT_EQ(summary_.farewells(), 1U);
  EXPECT_TRUE(summary_.from_this_computer());
  EXPECT_THAT(words_, testing::Contains(testing::HasSubstr("this very computer")));
}

TEST_F(LoopbackTest, APortInUseAndAForeignAddressAreRefused) {
  EXPECT_FALSE(Receiver::listen("127.0.0.1", receiver_->port(), kToken));
  EXPECT_FALSE(Receiver::listen("somewhere", 0, kToken));
  EXPECT_FALSE(Receiver::listen("192.0.2.1", 0, kToken)) << "RFC 5737: nobody's address";
}

/// A one-line sender, killed as a frozen PC would stop: without a farewell.
class OneLinerTest : public LoopbackTest, public testing::WithParamInterface<const char*> {};

TEST_P(OneLinerTest, SendsForRealAndItsEndIsASilence) {
  const auto line = one_liner(GetParam(), "127.0.0.1", receiver_->port(), kToken, milliseconds(100));
  ASSERT_TRUE(line) << line.error();
  const pid_t child = fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    setpgid(0, 0);
    execl("/bin/sh", "sh", "-c", line->c_str(), nullptr);
    _exit(127);
  }
  const bool came =
      wait([this] { return testing::Matches(testing::Contains(testing::HasSubstr("one every 0.1 s")))(words_); });
  std::this_thread::sleep_for(milliseconds(600));
  kill(-child, SIGKILL);
  waitpid(child, nullptr, 0);
  ASSERT_TRUE(came) << *line;
  EXPECT_TRUE(wait([this] { return silence_.number() == 1; })) << *line;
  finish();
  EXPECT_EQ(silence_.end(), proto::SILENCE_END_LASTS);
  EXPECT_GE(summary_.beats(), 3U);
  EXPECT_EQ(summary_.malformed(), 0U);
  EXPECT_EQ(summary_.foreign(), 0U);
}

INSTANTIATE_TEST_SUITE_P(Shells, OneLinerTest, testing::Values("sh", "python"));

// It cannot be run here; what can be checked is that every piece of the format is in it.
TEST(OneLinerTextTest, PowerShellNamesAllThatABeatHas) {
  const auto line = one_liner("powershell", "bench-host", 47000, kToken, milliseconds(1500));
  ASSERT_TRUE(line);
  EXPECT_THAT(*line, testing::HasSubstr("\"steadyrail-heartbeat 1 loop-b4ck $r $n $($w.ElapsedMilliseconds) 1500\""));
  EXPECT_THAT(*line, testing::HasSubstr("UdpClient 'bench-host',47000"));
  EXPECT_THAT(*line, testing::HasSubstr("Start-Sleep -Milliseconds 1500"));
}

TEST(OneLinerTextTest, NothingAShellWouldReadGetsIn) {
  for (const char* host : {"", "a b", "a;reboot", "$(x)", "a'b", "a\"b", "a/b", "a\nb"}) {
    EXPECT_FALSE(one_liner("sh", host, 1, kToken, milliseconds(1000))) << host;
  }
  EXPECT_FALSE(one_liner("sh", "host", 1, "tok'en", milliseconds(1000)));
  EXPECT_FALSE(one_liner("cmd", "host", 1, kToken, milliseconds(1000)));
}

}  // namespace
}  // namespace host::heartbeat
