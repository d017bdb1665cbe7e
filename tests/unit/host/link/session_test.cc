// SPDX-License-Identifier: Apache-2.0
#include "host/link/session.h"

#include <algorithm>
#include <set>
#include <thread>

#include "tests/simulation/pseudo_terminal.h"
#include "tests/simulation/scripted_jig.h"
#include "tests/unit/host/link/session_fixture.h"

namespace host::link {
namespace {

using namespace std::chrono_literals;
using namespace steadyrail::proto;
using testing_jig::Bytes;
using testing_jig::PseudoTerminal;
using testing_jig::Script;
using testing_jig::ScriptedJig;

TEST_F(SessionTest, RunsForItsDurationAndLeavesARecordingThatSaysTheSame) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {});
  options_.arm.emplace().set_set(1);
  const auto report = run(terminal.path());
  ASSERT_TRUE(report.has_value()) << report.error().message;
  jig.end();
  EXPECT_EQ(report->end, SessionEnd::kFinished);
  EXPECT_EQ(report->recording.bytes, std::filesystem::file_size(path_));
  const auto result = expect_review_agrees();
  EXPECT_EQ(result.session().ended(), "finished");
  EXPECT_GT(jig.next_scan(), 0u);
  EXPECT_EQ(result.coverage().scans_seen(), jig.next_scan());
  EXPECT_EQ(result.coverage().scans_expected(), jig.next_scan());
  EXPECT_EQ(result.coverage().gaps_total(), 0u);
  EXPECT_EQ(told_.windows_wrong(), 0u);
  ASSERT_GE(happened_.commands.size(), 5u);
  EXPECT_EQ(happened_.commands[0], HostToJig::kIdentify);
  EXPECT_EQ(happened_.commands[1], HostToJig::kConfigure);
  EXPECT_EQ(happened_.commands[2], HostToJig::kArm);
  EXPECT_EQ(happened_.commands[3], HostToJig::kStart);
  EXPECT_EQ(happened_.commands.back(), HostToJig::kStop);
  EXPECT_EQ(happened_.written, happened_.commands.size());
}

TEST_F(SessionTest, AsksAgainUntilAHelloComes) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {.identifies_ignored = 3});
  ASSERT_TRUE(run(terminal.path()).has_value());
  EXPECT_EQ(std::count(happened_.commands.begin(), happened_.commands.end(), HostToJig::kIdentify), 4);
}

TEST_F(SessionTest, RepeatsACommandWithTheSameIdUntilAcknowledged) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {.answers_lost = 2});
  ASSERT_TRUE(run(terminal.path()).has_value());
  jig.end();
  std::set<std::uint32_t> ids;
  int configures = 0;
  for (const HostToJig& command : jig.commands()) {
    if (!command.has_configure()) continue;
    ++configures;
    ids.insert(command.id());
  }
  EXPECT_EQ(configures, 3);
  EXPECT_EQ(ids.size(), 1u);
}

TEST_F(SessionTest, NothingAnswers) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {.silent = true});
  const LinkError error = error_of(terminal.path());
  EXPECT_EQ(error.fault, LinkFault::kNotAJig);
  EXPECT_EQ(error.message, terminal.path() + ": nothing answers; is this the jig's port?");
}

TEST_F(SessionTest, AnotherDeviceAnswers) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {.garbage = true});
  const LinkError error = error_of(terminal.path());
  EXPECT_EQ(error.fault, LinkFault::kNotAJig);
  EXPECT_NE(error.message.find("bytes came, but no hello of a jig among them"), std::string::npos) << error.message;
}

TEST_F(SessionTest, AnotherJigAnswers) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {.jig_id = "J-02"});
  options_.jig_id = "J-01";
  const LinkError error = error_of(terminal.path());
  EXPECT_EQ(error.fault, LinkFault::kOtherJig);
  EXPECT_EQ(error.message, terminal.path() + ": this is jig J-02, not J-01");
}

TEST_F(SessionTest, ANewerProtocolIsToldAndTheSessionRuns) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {.protocol_version = 2});
  ASSERT_TRUE(run(terminal.path()).has_value());
  ASSERT_FALSE(happened_.remarks.empty());
  EXPECT_EQ(happened_.remarks[0], "the jig speaks protocol 2, this program 1: what both understand is used");
}

TEST_F(SessionTest, AProtocolWithoutCommonGroundIsAnError) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(),
                  {.protocol_version = 7, .refused = HostToJig::kConfigure, .refusal = REFUSAL_UNKNOWN_COMMAND});
  const LinkError error = error_of(terminal.path());
  EXPECT_EQ(error.fault, LinkFault::kVersion);
}

TEST_F(SessionTest, NoProtocolVersionIsAnError) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {.protocol_version = 0});
  EXPECT_EQ(error_of(terminal.path()).fault, LinkFault::kVersion);
}

TEST_F(SessionTest, ARefusedArmNamesTheReason) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {.refused = HostToJig::kArm, .refusal = REFUSAL_OUT_OF_RANGE});
  options_.arm.emplace();
  const LinkError error = error_of(terminal.path());
  EXPECT_EQ(error.fault, LinkFault::kRefused);
  EXPECT_EQ(error.message, terminal.path() + ": the jig refuses arm: a value is out of range");
}

TEST_F(SessionTest, AJigThatNeverAcknowledgesIsGivenUpAfterBoundedTries) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {.answers_lost = 1000});
  const LinkError error = error_of(terminal.path());
  EXPECT_EQ(error.fault, LinkFault::kSilent);
  EXPECT_NE(error.message.find("the jig does not acknowledge configure (5 tries)"), std::string::npos) << error.message;
}

TEST_F(SessionTest, StopsAJigThatAnEarlierHostLeftRunning) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {.running_at_first = true, .first_scan = 640'000});
  const auto report = run(terminal.path());
  ASSERT_TRUE(report.has_value()) << report.error().message;
  EXPECT_EQ(happened_.starts, 1);
  expect_review_agrees();
}

TEST_F(SessionTest, AStopTokenEndsItWholeAndInOrder) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {});
  std::stop_source stop;
  options_.stop = stop.get_token();
  options_.duration.reset();
  std::thread later;
  happened_.on_start = [&] {
    later = std::thread([&] {
      std::this_thread::sleep_for(100ms);
      stop.request_stop();
    });
  };
  const auto report = run(terminal.path());
  later.join();
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->end, SessionEnd::kInterrupted);
  const auto result = expect_review_agrees();
  EXPECT_EQ(result.session().ended(), "interrupted");
  EXPECT_EQ(happened_.commands.back(), HostToJig::kStop);
  EXPECT_EQ(result.coverage().scans_seen(), jig.next_scan());
}

TEST_F(SessionTest, AStopDuringTheHandshakeEndsAtOnceAndLeavesNoEmptyRecording) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {.silent = true});
  std::stop_source stop;
  options_.stop = stop.get_token();
  options_.times.hello_timeout = 20s;
  std::thread later([&] {
    std::this_thread::sleep_for(50ms);
    stop.request_stop();
  });
  const auto began = std::chrono::steady_clock::now();
  const LinkError error = error_of(terminal.path());
  later.join();
  EXPECT_LT(std::chrono::steady_clock::now() - began, 5s);
  EXPECT_EQ(error.fault, LinkFault::kStopped);
}

TEST_F(SessionTest, RequestsAndMarksFromAnotherThreadAreServed) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {.refused = HostToJig::kDrivePsOn, .refusal = REFUSAL_WRONG_MODE});
  options_.duration.reset();
  options_.keep_alive = KeepAlive::kExternal;
  happened_.on_start = [&] {
    Mark mark;
    mark.set_words("the game froze");
    session_->add_mark(mark);
    session_->request_keep_alive();
    HostToJig command;
    command.mutable_drive_ps_on()->set_on(true);
    session_->request(command);
  };
  happened_.on_refused = [&] { session_->request_stop(); };
  const auto report = run(terminal.path());
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->end, SessionEnd::kFinished);
  ASSERT_EQ(happened_.refusals.size(), 1u);
  EXPECT_EQ(happened_.refusals[0], REFUSAL_WRONG_MODE);
  EXPECT_EQ(std::count(happened_.commands.begin(), happened_.commands.end(), HostToJig::kKeepAlive), 1);
  EXPECT_EQ(told_.count("note mark { words: \"the game froze\" }"), 1u);
  expect_review_agrees();
}

TEST_F(SessionTest, NotesOfOthersStandBeforeTheTimeMarkThatBroughtThemAndTheLastAtTheEnd) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {});
  options_.duration = 300ms;
  std::vector<std::optional<std::uint64_t>> asked;
  options_.notes_due = [&](std::optional<std::uint64_t> scan) {
    asked.push_back(scan);
    HostNote note;
    note.mutable_heartbeat_silence()->set_number(scan ? static_cast<std::uint32_t>(asked.size()) : 999);
    return std::vector{note};
  };
  ASSERT_TRUE(run(terminal.path()).has_value());
  ASSERT_GE(asked.size(), 2U);
  EXPECT_FALSE(asked.back());
  EXPECT_TRUE(std::is_sorted(asked.begin(), asked.end() - 1));
  EXPECT_EQ(told_.count("note heartbeat_silence"), asked.size());
  EXPECT_EQ(told_.count("note heartbeat_silence { number: 999 }"), 1U);
  const auto& lines = told_.lines();
  const auto first =
      std::ranges::find_if(lines, [](const std::string& one) { return one.starts_with("note heartbeat"); });
  EXPECT_TRUE((first + 1)->starts_with("status")) << *(first + 1) << ": the jig sends one right after each time mark";
  expect_review_agrees();
}

TEST_F(SessionTest, KeepsTheJigAliveAtItsPace) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {});
  options_.times.keep_alive_every = 20ms;
  options_.duration = 410ms;
  ASSERT_TRUE(run(terminal.path()).has_value());
  const auto count = std::count(happened_.commands.begin(), happened_.commands.end(), HostToJig::kKeepAlive);
  EXPECT_GE(count, 8);
  EXPECT_LE(count, 20);
}

TEST_F(SessionTest, AJigThatRestartsIsSetUpAndStartedAgain) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {.restart_after = 20});
  options_.duration = 600ms;
  const auto report = run(terminal.path());
  ASSERT_TRUE(report.has_value());
  jig.end();
  EXPECT_EQ(report->end, SessionEnd::kFinished);
  EXPECT_EQ(happened_.starts, 2);
  EXPECT_EQ(report->reconnections, 0u);
  expect_review_agrees();
  EXPECT_EQ(told_.count("restarted 2"), 1u);
  ASSERT_EQ(told_.gaps().size(), 1u);
  EXPECT_EQ(told_.gaps()[0].cause, LOSS_CAUSE_RESET);
  EXPECT_EQ(told_.scans_seen(), jig.blocks_sent() * 1024);
}

TEST_F(SessionTest, APortThatGoesEndsTheSessionWithAWholeRecording) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {});
  options_.duration.reset();
  std::thread later;
  happened_.on_start = [&] {
    later = std::thread([&] {
      std::this_thread::sleep_for(100ms);
      jig.end();
      terminal.unplug();
    });
  };
  const auto report = run(terminal.path());
  later.join();
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->end, SessionEnd::kPortGone);
  ASSERT_EQ(happened_.gone.size(), 1u);
  const auto result = expect_review_agrees();
  EXPECT_EQ(result.session().ended(), "port-gone");
}

TEST_F(SessionTest, ASilentLineCountsAsGone) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {.blocks_most = 10});
  options_.duration = 10s;
  options_.times.silence_most = 200ms;
  options_.times.keep_alive_every = 10s;
  const auto report = run(terminal.path());
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->end, SessionEnd::kPortGone);
  expect_review_agrees();
}

TEST_F(SessionTest, WithoutAWriterTheDecoderIsFedAllTheSame) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {});
  options_.port = terminal.path();
  Session session(options_, header_, clock_, nullptr, decoder_, happened_);
  const auto report = session.run();
  ASSERT_TRUE(report.has_value());
  EXPECT_GT(told_.scans_seen(), 0u);
  EXPECT_EQ(told_.count("header"), 1u);
  EXPECT_EQ(told_.lines().back(), "finish");
}

}  // namespace
}  // namespace host::link
